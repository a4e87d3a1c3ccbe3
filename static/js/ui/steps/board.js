/**
 * The board: how the last person left the machine, and what is found now: one tap.
 * Only "clear" closes the step.
 */
import {el} from '../dom.js';
import {plate} from '../plate.js';
import {say, sayWith} from '../say.js';
import {halfSet, machineState, notice, stepText} from '../text.js';
import {rows} from '../choices.js';
import {dayAndTime} from '../when.js';
import {openWorries, worriesList} from '../worries.js';

export function boardStep({tablet, setup, step, commit}) {
  const found = setup.rows.filter(({payload}) => payload.type === 'board.checked').at(-1)?.payload.data.found;
  return {
    strip: machineState(setup, step),
    left: [boardPlate(setup.sheet, openWorries(setup.sheet, tablet.worriesHere)), stepText(setup, step)],
    right: [
      found && found !== 'clear' && notice('ask', say(`tablet.board.do_${found}`)),
      rows(step.choices, id => commit('board.checked', {found: id, text: ''}), {action: 'found'}),
    ],
  };
}

/**
 * How the register says the machine was left, and what is open about it in people's own words.
 * @param {any} sheet
 * @param {any[]} worries
 * @param {any[]} [listed] of these, those that are told here
 * @param {(atUtc: string) => any} [timed] how a time is written: a step has no room for UTC
 */
export function boardPlate(
  {
    board: {
      state,
      left = state,
      since_utc: since,
      by_name: by,
      open_questions: open,
      redo = [],
      unsigned = [],
    },
    slots,
  },
  worries,
  listed = worries,
  timed = dayAndTime,
) {
  const incomplete = slots.filter(({missing_axes: missing}) => missing?.length > 0);
  const stopped = incomplete.filter(({not_usable_axes: axes}) => axes?.length > 0);
  const halves = incomplete.filter(slot => !stopped.includes(slot));
  const again = redo.filter(({label}) => !incomplete.some(half => half.label === label));
  const when =
    since && sayWith(`tablet.board.${by ? 'since_by' : 'since'}`, {time: timed(since)}, {by: by ?? ''});
  const value = worries.length > 0 && left === 'clear' ? 'worry' : left;
  return [
    plate(say('tablet.board.left'), {value: say(`tablet.board.${value}`), other: when}, 'words'),
    worriesList(listed),
    open > 0 &&
      el(
        'p',
        {class: 'open-questions'},
        say(open === 1 ? 'tablet.board.open_question' : 'tablet.board.open_questions', {count: open}),
      ),
    stopped.map(({label, not_usable_axes: axes}) =>
      halfSet('open-stopped', say('tablet.board.not_usable', {slot: label, axes: axes.join(', ')})),
    ),
    unsigned.map(({person_name: name, tablet}) =>
      el('p', {class: 'label'}, say('tablet.board.unsigned', {name, tablet})),
    ),
    halves.length > 0 &&
      halfSet('open-half', say('tablet.board.half_set', {slots: halves.map(({label}) => label).join(', ')})),
    again.length > 0 &&
      halfSet('open-half', say('tablet.board.to_redo', {slots: again.map(({label}) => label).join(', ')})),
  ];
}
