/**
 * Slots that are written by hand. The twin of webapp/domain/setup/touching/by_hand.py, where the rules
 * stand.
 */
import {RuleError} from '../../plain/errors.js';
import {touchLengthNm} from '../../touch/compare.js';
import {currentStep, note} from '../state.js';
import {readLength} from '../steps.js';

/** What is added to a trigger position to get the surface, null where the control writes the slot. */
export const offsetOf = (state, axis) => state.axes.get(axis)?.by_hand_nm ?? null;

/** The step stays open for the value that is read back. */
export function readTrigger(state, event) {
  const {axis, typed, value_nm: claimed, surface_nm: claimedSurface} = event.data;
  const offset = offsetOf(state, axis);
  if (state.plan.get(event.step).axis !== axis || offset === null)
    throw new RuleError('setup.trigger_not_asked', {axis});
  const value = readLength(touchLengthNm, state, typed, axis);
  const surface = value + offset;
  if (claimed !== value) note(state, event, 'setup.value_differs', {axis, typed});
  if (claimedSurface !== surface) note(state, event, 'setup.surface_differs', {axis, typed});
  state.triggers.push({
    axis,
    typed,
    value_nm: value,
    surface_nm: surface,
    event: event.id,
    at_utc: event.at_utc,
  });
  state.triggeredAt.set(axis, state.searchedAt.get(axis) ?? 0);
  state.blocked = null;
}

/** The surface that is to be entered and read back now, null while no trigger position waits for that. */
export function toEnterNm(state) {
  const step = currentStep(state);
  if (step?.kind !== 'touch' || offsetOf(state, step.axis) === null || !isTriggered(state, step.axis))
    return null;
  return lastSurface(state, step.axis);
}

const lastSurface = (state, name) => state.triggers.findLast(({axis}) => axis === name).surface_nm;

/** Whether the trigger position of the axis' last search was read. */
const isTriggered = (state, axis) => state.triggeredAt.get(axis) === (state.searchedAt.get(axis) ?? 0);

/** Throws for a value by hand without its trigger position since the search. */
export function mustBeTriggered(state, {data: {axis}}) {
  if (offsetOf(state, axis) !== null && !isTriggered(state, axis))
    throw new RuleError('setup.trigger_needed', {axis});
}

/** Note a value that is another than the surface which was to be entered. */
export function holdAgainstSurface(state, touch) {
  if (offsetOf(state, touch.axis) === null) return;
  const surface = lastSurface(state, touch.axis);
  if (touch.value_nm !== surface) state.enteredOtherwise.set(touch.event, surface);
}
