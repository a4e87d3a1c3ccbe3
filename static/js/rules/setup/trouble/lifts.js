/**
 * The lead at the tablet: a stop lifted by the lead's own PIN.
 * The twin of webapp/domain/setup/trouble/lifts.py, where the rules stand.
 */
import {RuleError} from '../../plain/errors.js';

/** The lead stood at the tablet and gave a PIN. */
export function liftStop(state, event) {
  const {axis, lead, decision, reason} = event.data;
  if (!state.axes.has(axis)) throw new RuleError('setup.axis_unknown', {axis});
  if (lead === event.person) throw new RuleError('setup.own_stop');
  state.lifts.push({axis, lead, decision, reason, ...standing(state, event)});
  state.liftOrder.set(event.id, state.count);
}

/** Where a PIN sealed beside this event stands with the server. */
export const standing = (state, event) =>
  settled(state, {
    event: event.id,
    at_utc: event.at_utc,
    state: 'on_device',
    refused_because: null,
    tries_left: null,
  });

/** Take in what the server decided about a PIN, and bring every lift and every row put back to it. */
export function decideLift(state, type, data) {
  if (type === 'lift.verified') state.liftsVerified.add(data.event);
  else
    state.liftsRefused.set(data.event, {refused_because: data.reason, tries_left: data.tries_left ?? null});
  for (const given of [...state.lifts, ...state.putBacks]) settled(state, given);
}

function settled(state, given) {
  if (state.liftsVerified.has(given.event))
    Object.assign(given, {state: 'verified', refused_because: null, tries_left: null});
  else if (state.liftsRefused.has(given.event))
    Object.assign(given, {state: 'refused', ...state.liftsRefused.get(given.event)});
  return given;
}
