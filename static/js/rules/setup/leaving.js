/**
 * Leaving a setup to somebody: to its signer, to the next person, to the lead;
 * and leaving before anything was done. The twin of webapp/domain/setup/leaving.py, where the rules stand.
 */
import {RuleError} from '../plain/errors.js';
import {breakFor} from './notes.js';
import {currentStep, skip} from './state.js';
import {waitsFor} from './trouble/stops.js';
import {sameAxis} from './touching/touches.js';
import {BEFORE_A_TOUCH} from './trouble/troubles.js';

const HARMLESS_KINDS = ['caution', 'board'];

/** Whether nothing was done yet, so that the setup can be left as if it had not begun. */
export function mayLeave(state) {
  const harmless = Object.entries(state.steps).every(
    ([id, found]) => found.state !== 'done' || HARMLESS_KINDS.includes(state.plan.get(id).kind),
  );
  const odd =
    state.probeInSpindle ||
    state.blocked !== null ||
    state.worries.length > 0 ||
    state.questions.length > 0 ||
    state.brokenOff !== null;
  return state.outcome === null && harmless && !odd && state.setup !== null;
}

/** Begun by mistake, and nothing was done. */
export function leave(state, event) {
  if (!mayLeave(state)) throw new RuleError('setup.not_left_now');
  for (const [id, {state: found}] of Object.entries(state.steps))
    if (found === 'open') skip(state, id, event);
  state.outcome = 'left';
}

/** It waits on this tablet for its signer, and the tablet is handed on. */
export function leaveUnsigned(state, event) {
  if (currentStep(state)?.kind !== 'sign') throw new RuleError('setup.not_left_unsigned');
  state.leftUnsigned = {at_utc: event.at_utc, event: event.id};
}

/** Somebody else goes on, anew and in a slot of their own. */
export function handOver(state, event) {
  const {to} = event.data;
  if (to === event.person) throw new RuleError('setup.handed_to_oneself');
  breakFor(state, event, 'handed_over');
  Object.assign(state.brokenOff, {to, event: event.id});
}

/** This setup begins where another person handed over. */
export function takeOver(state, event) {
  if (state.takenOver !== null || Object.values(state.steps).some(found => found.state === 'done'))
    throw new RuleError('setup.taken_over_late');
  const {from_setup: setup, from_person: person} = event.data;
  state.takenOver = {setup, person, event: event.id, at_utc: event.at_utc};
}

/** A stop stands and no lead lifts it; the setup ends as not usable. */
export function giveUp(state, event) {
  const {axis} = event.data;
  const step = currentStep(state);
  if (!['compare', ...BEFORE_A_TOUCH].includes(step?.kind) || waitsFor(state, axis) === null)
    throw new RuleError('setup.nothing_to_give_up', {axis});
  sameAxis(step, axis);
  breakFor(state, event, 'stop_verdict');
  state.givenUp = [axis];
}
