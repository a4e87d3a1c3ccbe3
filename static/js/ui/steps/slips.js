/**
 * A value that one slip of typing would explain is asked about before it is taken: which number does the control really show?
 * What was typed stands among the answers; nothing is chosen beforehand, and the field keeps it for typing again.
 */
import {repairs} from '../../rules/causes/named.js';
import {displayOf} from '../../rules/touch/compare.js';
import {formatLength} from '../../rules/plain/lengths.js';
import {rows} from '../choices.js';
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {machineState, notice} from '../text.js';
import {picture} from './search.js';

export const AS_TYPED = 'as-typed';

/** The slips worth asking about, those that tell something first, each value once. */
export function slipsOf(valueNm, machine, usual) {
  const found = repairs(valueNm, displayOf(machine), usual).sort((one, other) => Number(other.tells) - Number(one.tells) || one.off_nm - other.off_nm);
  return found.filter((one, place) => found.findIndex(other => other.repaired_nm === one.repaired_nm) === place);
}

/** The screen that asks. `take(text)` is given what the control shows, as a text. */
export function slipsScreen(context, {typed, slips, take}) {
  const {setup, step, again} = context;
  const {machine, draft} = setup;
  const written = nm => formatLength(nm, displayOf(machine));
  const texts = {[AS_TYPED]: typed, ...Object.fromEntries(slips.map(({repaired_nm: nm}) => [String(nm), written(nm)]))};
  const shows = texts[draft.shows] === undefined ? null : draft.shows;
  const asked = slips.length === 1 ? say(slips[0].code, {typed, repaired: written(slips[0].repaired_nm), unit: machine.unit}) : say('repair.several', {typed, unit: machine.unit});
  return {
    title: say('tablet.touch.which', {axis: step.axis}), strip: machineState(setup, step),
    left: [picture(context), notice('ask', asked)],
    right: [
      rows([
        {id: AS_TYPED, label: say('repair.as_typed', {typed, unit: machine.unit})},
        ...slips.map(({code, repaired_nm: nm}) => ({id: String(nm), label: say('repair.it_shows', {value: written(nm), unit: machine.unit}), note: say(code.replace('repair.', 'repair.by_'))})),
      ], id => { setup.keepDraft({...draft, shows: id}); again(); }, {chosen: shows ?? '', action: 'shows', kind: 'slips'}),
      el('div', {class: 'ways'}, button(say('tablet.touch.type_again'), 'type-again', () => { setup.keepDraft({...draft, slip: null, shows: null}); again(); })),
    ],
    go: {label: say('tablet.touch.this_shows'), waits: shows === null, press: () => shows !== null && take(texts[shows])},
  };
}
