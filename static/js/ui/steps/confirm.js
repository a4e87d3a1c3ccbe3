/** One action, seen to be done; where the step has choices, one tap on one of them is the answer. */
import {el} from '../dom.js';
import {say} from '../say.js';
import {machineState, notice, stepText} from '../text.js';
import {rows} from '../choices.js';

export function confirmStep({setup, step, commit}) {
  const choices = step.choices ?? [];
  const last = setup.rows
    .filter(({payload}) => payload.step === step.id && payload.type === 'step.done')
    .at(-1)?.payload.data.answer;
  const kept = choices.find(({id, closes}) => id === last && closes === false);
  return {
    strip: machineState(setup, step),
    left: el('div', {class: 'big-says'}, stepText(setup, step)),
    right: choices.length > 0 && [
      kept &&
        notice(
          'ask',
          say('tablet.confirm.stays_open', {answer: kept.label, if_not: setup.fill(step.if_not)}),
        ),
      rows(choices, id => commit('step.done', {answer: id})),
    ],
    go: choices.length === 0 && {label: step.action, press: () => commit('step.done', {answer: 'done'})},
  };
}
