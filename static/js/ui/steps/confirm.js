/** One action, seen to be done; where the step has choices, the answer is one of them. */
import {el} from '../dom.js';
import {say} from '../say.js';
import {machineState, notice, stepText} from '../text.js';
import {rows} from '../choices.js';

export function confirmStep({setup, step, commit, again}) {
  const choices = step.choices ?? [];
  const chosen = setup.draft.chosen ?? null;
  const last = setup.rows.filter(({payload}) => payload.step === step.id && payload.type === 'step.done').at(-1)?.payload.data.answer;
  const kept = choices.find(({id, closes}) => id === last && closes === false);
  const pick = id => { setup.keepDraft({...setup.draft, chosen: id}); again(); };
  return {
    strip: machineState(setup, step),
    left: el('div', {class: 'big-says'}, stepText(setup, step)),
    right: choices.length > 0 && [
      rows(choices, pick, {chosen: chosen ?? ''}),
      kept && notice('ask', say('tablet.confirm.stays_open', {answer: kept.label, if_not: setup.fill(step.if_not)})),
    ],
    go: {
      label: step.action, waits: choices.length > 0 && !chosen,
      press: () => (choices.length === 0 ? commit('step.done', {answer: 'done'}) : chosen && commit('step.done', {answer: chosen})),
    },
  };
}
