/**
 * How old the look at the probe's input may be when a search is set.
 * The twin of webapp/domain/setup/touching/input_age.py, where the rules stand.
 */
import {RuleError} from '../../plain/errors.js';
import {askAgain, currentStep, open} from '../state.js';
import {askedAgain, ON_THE_WAY, wayBack} from '../trouble/troubles.js';

/**
 * How long what was seen of the input still holds, in ms, below zero when it does not;
 * null where nothing is to be told.
 */
export function inputHoldsMs(machine, checkedMs, elapsedMs) {
  const limit = machine.input_age_ms ?? null;
  return limit === null || checkedMs === null ? null : checkedMs + limit - elapsedMs;
}

export const isOld = (state, elapsedMs) =>
  (inputHoldsMs(state.sheet.machine, state.inputCheckedMs, elapsedMs) ?? 0) < 0;

/** The probe was raised, because what was seen of its input is too old. */
export function raiseFirst(state, event) {
  const step = currentStep(state);
  if (step === null || !ON_THE_WAY.includes(step.kind) || state.inputCheckedMs === null)
    throw new RuleError('setup.input_not_due', {type: event.type});
  for (const id of askedAgain(state, {trouble: '', touched: true, reset: true})) askAgain(state, id);
  for (const id of wayBack(state, step)) open(state, id);
  state.corrections.push({
    kind: 'input_aged',
    step: step.id,
    reason: '',
    at_utc: event.at_utc,
    event: event.id,
  });
  state.inputCheckedMs = null;
  state.beforeBreak = null;
}
