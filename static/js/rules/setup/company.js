/**
 * Who stands beside whoever sets up, at a step that asks for somebody. The twin of
 * webapp/domain/setup/company.py, where the rules stand.
 */
import {RuleError} from '../plain/errors.js';
import {askedFor, mayStandBeside} from './for_whom.js';
import {currentStep} from './state.js';

export function nameBeside(state, event) {
  const step = currentStep(state);
  const {who} = event.data;
  if (step === null || event.step !== step.id || !askedFor(state.sheet, step, event.person))
    throw new RuleError('setup.beside_not_asked', {step: event.step ?? ''});
  if (!mayStandBeside(state.sheet, step, event.person).some(({id}) => id === who))
    throw new RuleError('setup.beside_unknown', {who});
  state.beside.push({step: step.id, who, at_utc: event.at_utc, event: event.id});
  state.named.set(step.id, who);
}

/** Whom the current step asks for and who was not named yet; null for nobody. */
export function waitsFor(state) {
  const step = currentStep(state);
  if (step === null || state.named.has(step.id)) return null;
  return askedFor(state.sheet, step, state.person);
}
