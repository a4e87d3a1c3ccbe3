/** The board: how the last person left the machine, and what is found now: one tap. Only "clear" closes the step. */
import {el} from '../dom.js';
import {plate} from '../plate.js';
import {say} from '../say.js';
import {halfSet, machineState, notice, stepText} from '../text.js';
import {rows} from '../choices.js';
import {dayAndTime} from '../when.js';

export function boardStep({setup, step, commit}) {
  const found = setup.rows.filter(({payload}) => payload.type === 'board.checked').at(-1)?.payload.data.found;
  return {
    strip: machineState(setup, step),
    left: [boardPlate(setup.sheet), stepText(setup, step)],
    right: [
      found && found !== 'clear' && notice('ask', say(`tablet.board.do_${found}`)),
      rows(step.choices, id => commit('board.checked', {found: id, text: ''}), {action: 'found'}),
    ],
  };
}

/** How the register says the machine was left. */
export function boardPlate({board: {state, since_utc: since, by_name: by, open_questions: open, unsigned = []}, slots}) {
  const left = slots.filter(({missing_axes: missing}) => missing?.length > 0);
  const stopped = left.filter(({not_usable_axes: axes}) => axes?.length > 0);
  const halves = left.filter(slot => !stopped.includes(slot));
  const when = since && say(by ? 'tablet.board.since_by' : 'tablet.board.since', {time: dayAndTime(since), by: by ?? ''});
  return [
    plate(say('tablet.board.left'), {value: say(`tablet.board.${state}`), other: when}, 'words'),
    open > 0 && el('p', {class: 'open-questions'}, say(open === 1 ? 'tablet.board.open_question' : 'tablet.board.open_questions', {count: open})),
    stopped.map(({label, not_usable_axes: axes}) => halfSet('open-stopped', say('tablet.board.not_usable', {slot: label, axes: axes.join(', ')}))),
    unsigned.map(({person_name: name, tablet}) => el('p', {class: 'label'}, say('tablet.board.unsigned', {name, tablet}))),
    halves.length > 0 && halfSet('open-half', say('tablet.board.half_set', {slots: halves.map(({label}) => label).join(', ')})),
  ];
}
