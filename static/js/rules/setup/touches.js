/**
 * Touches, their comparison, and what lets a touched value stand. The twin of webapp/domain/setup/touches.py: a repeat counts
 * only after a new search, and a question about a touch holds for a repeat that agrees with it.
 */
import {keepReasons, repeatAgrees, touchLengthNm, verdict} from '../touch/compare.js';
import {RuleError} from '../plain/errors.js';
import {close, lastTouch, note, open} from './state.js';
import {readLength} from './steps.js';

/** The value that the control shows. */
export function enterTouch(state, event) {
  const {data} = event;
  const step = state.plan.get(event.step);
  const axis = sameAxis(step, data.axis);
  const value = readLength(touchLengthNm, state, data.typed, axis);
  const found = {value_nm: value, ...verdict(state.axes.get(axis).usual, value)};
  for (const name of ['value_nm', 'verdict', 'difference_nm']) {
    const differs = `setup.${name.replace(/_nm$/, '')}_differs`;
    if (data[name] !== found[name]) note(state, event, differs, {axis, typed: data.typed});
  }
  state.touches.push({
    axis, typed: data.typed, ...found, repeat_agrees: noteRepeat(state, axis, value),
    kept: false, because: null, event: event.id, at_utc: event.at_utc,
  });
  close(state, step.id, event);
}

/** Note the touch's search, and tell whether it agrees with the touch of an earlier search. */
function noteRepeat(state, axis, value) {
  const searchedAt = state.searchedAt.get(axis) ?? 0;
  const before = state.touches.findLastIndex((touch, place) => touch.axis === axis && state.touchNotes[place].searchedAt < searchedAt);
  const agrees = before >= 0 && repeatAgrees(value, state.touches[before].value_nm, state.axes.get(axis).usual);
  state.touchNotes.push({searchedAt, coveredFrom: agrees ? state.touchNotes[before].coveredFrom : state.count});
  return agrees;
}

/** Search and touch this axis again; both values are kept. */
export function repeatTouch(state, event) {
  const axis = sameAxis(state.plan.get(event.step), event.data.axis);
  for (const id of wayToTouch(state, axis)) open(state, id);
}

/** The steps that lead to an axis' touch anew; what comes before a look for square belongs to that. */
export function wayToTouch(state, axis) {
  const own = [...state.plan.values()].filter(step => step.axis === axis);
  const after = own.findIndex(({kind}) => kind === 'square') + 1;
  return own.slice(after).filter(({kind}) => ['over', 'lower', 'search', 'touch'].includes(kind)).map(({id}) => id);
}

/** The value stands, for a reason that holds. */
export function keepTouch(state, event) {
  const {because} = event.data;
  const axis = sameAxis(state.plan.get(event.step), event.data.axis);
  if (!reasonsFor(state, axis).includes(because)) throw new RuleError('setup.keep_not_allowed', {axis, because});
  Object.assign(state.touches[lastTouch(state, axis)], {kept: true, because});
  close(state, event.step, event);
}

/** The reasons for which the axis' last touch may be kept now, the plainest first. */
export function reasonsFor(state, axis) {
  const place = lastTouch(state, axis);
  if (place < 0) return [];
  const {coveredFrom} = state.touchNotes[place];
  const covering = state.questions.filter(one => one.axis === axis && state.questionOrder.get(one.question) > coveredFrom);
  return keepReasons(state.touches[place], covering);
}

/** What the comparison of this axis waits for, null when the value may be kept. */
export function waitsAtCompare(state, axis) {
  if (reasonsFor(state, axis).length > 0) return null;
  const touch = state.touches[lastTouch(state, axis)];
  const needs = touch?.verdict === 'stop' && !touch.repeat_agrees ? 'lead' : 'question';
  return {code: `setup.compare_needs_${needs}`, fields: {axis}};
}

/** The axis that an event names; a step about another is not allowed. */
export function sameAxis(step, axis) {
  if (step.axis !== axis) throw new RuleError('setup.axis_other', {axis, expected: step.axis ?? ''});
  return axis;
}
