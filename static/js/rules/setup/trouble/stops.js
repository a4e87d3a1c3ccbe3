/**
 * What may stand after a stop, from the sheet's second format on.
 * The twin of webapp/domain/setup/trouble/stops.py, where the rules stand.
 */
import {lastTouch} from '../state.js';

const WAY = ['over', 'lower', 'search', 'touch'];

/** What was read of the touch of one search, in order. */
export const readings = (state, axis, searchedAt) =>
  state.touches.filter(
    (touch, place) => touch.axis === axis && state.touchNotes[place].searchedAt === searchedAt,
  );

/** The reasons for which the axis' last touch may be kept now, the plainest first. */
export function standsFor(state, axis) {
  if (waitsFor(state, axis) !== null) return [];
  const runs = runsOf(state, axis);
  if (isTheLeads(runs)) return ['lead'];
  if (isFirst(state, runs.at(-1))) return isAsked(state, axis) ? ['first', 'question'] : ['first'];
  return isPlain(state, runs.at(-1)) ? ['agrees'] : ['question'];
}

/** What the axis' last touch waits for, null when it may be kept: 'reading', 'question' or 'lead'. */
export function waitsFor(state, axis) {
  const runs = runsOf(state, axis);
  if (runs.length === 0) return 'question';
  if (mustBeReadAgain(state, runs.at(-1))) return 'reading';
  const {coveredFrom} = state.touchNotes[lastTouch(state, axis)];
  if (isTheLeads(runs)) return leadSays(state, axis, 'go_on', coveredFrom) ? null : 'lead';
  if (isPlain(state, runs.at(-1)) || isFirst(state, runs.at(-1))) return null;
  return isAsked(state, axis) ? null : 'question';
}

/** Whether a question about the axis was put since its last touch. */
function isAsked(state, axis) {
  const {coveredFrom} = state.touchNotes[lastTouch(state, axis)];
  return state.questions.some(
    one => one.axis === axis && state.questionOrder.get(one.question) > coveredFrom,
  );
}

/** Whether the last touch stands only with the lead's word. */
function isTheLeads(runs) {
  const place = runs.findIndex(hasStop);
  if (place < 0) return false;
  const behind = runs.length - 1 - place;
  return runs.at(-1).at(-1).verdict === 'stop' || behind > 1 || (behind === 1 && hasStop(runs.at(-1)));
}

/** Whether the axis may be searched and touched once more without the lead. */
export function mayTouchAgain(state, axis) {
  const runs = runsOf(state, axis);
  const place = runs.findIndex(hasStop);
  return place < 0 || place === runs.length - 1;
}

/**
 * The steps of the axis' stage that lead to its touch anew;
 * what comes before a look for square belongs to that.
 */
export function wayToTouch(state, axis) {
  const own = [...state.plan.values()].filter(step => step.axis === axis);
  const after = own.findIndex(({kind}) => kind === 'square') + 1;
  return own
    .slice(after)
    .filter(({kind}) => WAY.includes(kind))
    .map(({id}) => id);
}

/** The axis' touches since the lead last said "touch again", each as its readings. */
function runsOf(state, axis) {
  const asked = state.questions
    .filter(one => one.axis === axis && one.answer?.decision === 'touch_again')
    .map(one => state.questionOrder.get(one.question));
  const since = Math.max(
    -1,
    ...asked,
    ...liftsOf(state, axis, 'touch_again').map(({event}) => state.liftOrder.get(event)),
  );
  const searches = new Map();
  state.touches.forEach((touch, place) => {
    const {searchedAt} = state.touchNotes[place];
    if (touch.axis === axis && searchedAt > since)
      searches.set(searchedAt, [...(searches.get(searchedAt) ?? []), touch]);
  });
  return [...searches.values()];
}

/** Whether the lead answered so, at the desk or by a PIN that was verified, to what came after that count. */
function leadSays(state, axis, decision, after) {
  const answered = state.questions.some(
    one =>
      one.axis === axis && state.questionOrder.get(one.question) > after && one.answer?.decision === decision,
  );
  return answered || liftsOf(state, axis, decision).some(({event}) => state.liftOrder.get(event) > after);
}

/**
 * The count at the last question about the axis that the lead answered, or lift that was verified; else -1.
 */
export function leadSpokeAt(state, axis) {
  const spoken = state.questions
    .filter(one => one.axis === axis && ['go_on', 'touch_again'].includes(one.answer?.decision))
    .map(one => state.questionOrder.get(one.question));
  const lifted = state.lifts
    .filter(lift => lift.axis === axis && lift.state === 'verified')
    .map(({event}) => state.liftOrder.get(event));
  return Math.max(-1, ...spoken, ...lifted);
}

const liftsOf = (state, axis, decision) =>
  state.lifts.filter(lift => lift.axis === axis && lift.decision === decision && lift.state === 'verified');

const hasStop = one => one.some(({verdict}) => verdict === 'stop');

/**
 * Whether one reading alone lies past a line, or is not what was to be entered by hand.
 * Where nothing is known there is no line.
 */
function mustBeReadAgain({enteredOtherwise}, one) {
  const last = one.at(-1);
  const past = (last.verdict !== 'agrees' && last.difference_nm !== null) || enteredOtherwise.has(last.event);
  return past && one.length === 1 && last.read_again === null;
}

/** Whether one value only was read, the one that was to be entered. */
const isOneValue = ({enteredOtherwise}, one) =>
  new Set(one.map(touch => touch.value_nm)).size === 1 && !one.some(({event}) => enteredOtherwise.has(event));

/** Whether the touch agrees and was read as one value only. */
const isPlain = (state, one) => one.at(-1).verdict === 'agrees' && isOneValue(state, one);

/** Whether there is nothing to compare with yet, and one value was read. */
const isFirst = (state, one) => one.at(-1).difference_nm === null && isOneValue(state, one);
