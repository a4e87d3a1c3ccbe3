/**
 * Touches, their comparison, and what lets a touched value stand.
 * The twin of webapp/domain/setup/touching/touches.py:
 * a repeat counts only after a new search. What may stand after a stop is said in stops.js.
 */
import {keepReasons, repeatAgrees, touchLengthNm, verdictOn} from '../../touch/compare.js';
import {RuleError} from '../../plain/errors.js';
import {holdAgainstSurface, mustBeTriggered} from './by_hand.js';
import {close, lastTouch, note, open, remark} from '../state.js';
import {readLength} from '../steps.js';
import {mayTouchAgain, readings, standsFor, waitsFor, wayToTouch} from '../trouble/stops.js';

/** The value that the control shows. */
export function enterTouch(state, event) {
  mustBeTriggered(state, event);
  listTouch(state, event);
  close(state, event.step, event);
}

/** The same touch read a second time, without seeing what was read first. */
export function readAgain(state, event) {
  const axis = sameAxis(state.plan.get(event.step), event.data.axis);
  const first = state.touches[lastTouch(state, axis)];
  if (!first || first.reading > 1 || first.read_again !== null)
    throw new RuleError('setup.read_again_once', {axis});
  const value = listTouch(state, event);
  if (value === first.value_nm) {
    state.touches.pop();
    state.touchNotes.pop();
    first.read_again = {typed: event.data.typed, event: event.id, at_utc: event.at_utc};
  }
  state.blocked = null;
}

/** List what was typed as a touch, decided again, and give its value. */
function listTouch(state, event) {
  const {data} = event;
  const axis = sameAxis(state.plan.get(event.step), data.axis);
  const value = readLength(touchLengthNm, state, data.typed, axis);
  const found = {value_nm: value, ...verdictOn(state.axes.get(axis).usual, value)};
  for (const name of ['value_nm', 'verdict', 'difference_nm']) {
    const differs = `setup.${name.replace(/_nm$/, '')}_differs`;
    if (data[name] !== found[name]) note(state, event, differs, {axis, typed: data.typed});
  }
  const reading = 1 + readings(state, axis, state.searchedAt.get(axis) ?? 0).length;
  state.touches.push({
    axis,
    typed: data.typed,
    ...found,
    repeat_agrees: noteRepeat(state, axis, value),
    reading,
    read_again: null,
    kept: false,
    because: null,
    event: event.id,
    at_utc: event.at_utc,
  });
  holdAgainstSurface(state, state.touches.at(-1));
  return value;
}

/** Note the touch's search, and tell whether it agrees with the touch of an earlier search. */
function noteRepeat(state, axis, value) {
  const searchedAt = state.searchedAt.get(axis) ?? 0;
  const before = state.touches.findLastIndex(
    (touch, place) => touch.axis === axis && state.touchNotes[place].searchedAt < searchedAt,
  );
  const agrees =
    before >= 0 && repeatAgrees(value, state.touches[before].value_nm, state.axes.get(axis).usual);
  state.touchNotes.push({
    searchedAt,
    coveredFrom: agrees && !state.stopsAreTheLeads ? state.touchNotes[before].coveredFrom : state.count,
  });
  return agrees;
}

/** Search and touch this axis again; both values are kept. */
export function repeatTouch(state, event) {
  const axis = sameAxis(state.plan.get(event.step), event.data.axis);
  if (state.stopsAreTheLeads && !mayTouchAgain(state, axis))
    throw new RuleError('setup.touch_again_used', {axis});
  for (const id of wayToTouch(state, axis)) open(state, id);
}

/** Why this axis is searched and touched again; the lead sees the value that stood before. */
export function wipeChip(state, event) {
  repeatTouch(state, event);
  const {axis} = event.data;
  const {value_nm: value} = state.touches[lastTouch(state, axis)];
  remark(state, 'chip_wiped', event, {axis, values_nm: [value]});
}

/** The value stands, for a reason that holds. */
export function keepTouch(state, event) {
  const {because} = event.data;
  const axis = sameAxis(state.plan.get(event.step), event.data.axis);
  if (!reasonsFor(state, axis).includes(because))
    throw new RuleError('setup.keep_not_allowed', {axis, because});
  Object.assign(state.touches[lastTouch(state, axis)], {kept: true, because});
  close(state, event.step, event);
}

/** The reasons for which the axis' last touch may be kept now, the plainest first. */
export function reasonsFor(state, axis) {
  const place = lastTouch(state, axis);
  if (place < 0) return [];
  if (state.stopsAreTheLeads) return standsFor(state, axis);
  const {coveredFrom} = state.touchNotes[place];
  const covering = state.questions.filter(
    one => one.axis === axis && state.questionOrder.get(one.question) > coveredFrom,
  );
  return keepReasons(state.touches[place], covering);
}

/** What the comparison of this axis waits for, null when the value may be kept. */
export function waitsAtCompare(state, axis) {
  if (reasonsFor(state, axis).length > 0) return null;
  if (state.stopsAreTheLeads) return {code: `setup.compare_needs_${waitsFor(state, axis)}`, fields: {axis}};
  const touch = state.touches[lastTouch(state, axis)];
  const needs = touch?.verdict === 'stop' && !touch.repeat_agrees ? 'lead' : 'question';
  return {code: `setup.compare_needs_${needs}`, fields: {axis}};
}

/** The axis that an event names; a step about another is not allowed. */
export function sameAxis(step, axis) {
  if (step.axis !== axis) throw new RuleError('setup.axis_other', {axis, expected: step.axis ?? ''});
  return axis;
}
