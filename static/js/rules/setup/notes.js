/**
 * Events that answer no step: questions, holds, corrections, coming back, breaking off. The twin of
 * webapp/domain/setup/notes.py, where the rules stand.
 */
import {RuleError} from '../plain/errors.js';
import {currentStep, isDone, makeDue, open, skip} from './state.js';

export const ENDING_STAGES = ['stow', 'sign'];

const when = event => ({at_utc: event.at_utc, event: event.id});

export function putQuestion(state, event) {
  const {question, axis, text} = event.data;
  if (state.questionOrder.has(question)) throw new RuleError('setup.question_twice', {question});
  if (axis !== null && !state.axes.has(axis)) throw new RuleError('setup.axis_unknown', {axis});
  state.questions.push({question, axis, text, ...when(event), answer: state.answers.get(question) ?? null});
  state.questionOrder.set(question, state.count);
}

export function pressHold(state, event) {
  state.holds.push({step: event.step, ...when(event)});
}

export function resume(state, event) {
  state.resumes.push({away_ms: event.data.away_ms, step: event.step, ...when(event)});
}

/** A correction: the step and all later ones of its stage are open again. */
export function reopen(state, event) {
  const {reopened, reason} = event.data;
  const step = state.plan.get(reopened);
  if (!step) throw new RuleError('setup.step_unknown', {step: reopened});
  const gone = state.brokenOff !== null && !ENDING_STAGES.includes(state.stageOf.get(reopened));
  if (step.kind === 'caution' || !isDone(state, reopened) || gone) {
    throw new RuleError('setup.not_reopenable', {step: reopened});
  }
  for (const id of openedWith(state, step)) if (isDone(state, id)) open(state, id);
  state.beforeBreak = null;
  state.corrections.push({kind: 'reopened', step: reopened, reason, ...when(event)});
}

/** The step, all later steps of its stage, and what was done in the slot if it is the slot's step. */
function openedWith(state, step) {
  const ids = [...state.plan.keys()];
  const stage = state.stageOf.get(step.id);
  const also = step.kind === 'slot' ? ['copy', 'clear'] : [];
  return ids
    .slice(ids.indexOf(step.id))
    .filter(id => state.stageOf.get(id) === stage || also.includes(state.plan.get(id).kind));
}

/** Skip to putting the probe away, or past it if there is nothing to put away. */
export function breakOff(state, event) {
  breakFor(state, event);
}

/**
 * Break the setup off, with the reason where the event says it.
 * @param {?string} reason a code; null where the person is asked for it
 */
export function breakFor(state, event, reason = null) {
  if (state.brokenOff !== null) throw new RuleError('setup.already_broken_off');
  const step = currentStep(state);
  if (step === null || ENDING_STAGES.includes(state.stageOf.get(step.id)))
    throw new RuleError('setup.nothing_to_break_off');
  const stow = mayHoldProbe(state, step.kind);
  state.beforeBreak = {...state.steps};
  for (const [id, {state: found}] of Object.entries(state.steps)) {
    const stage = state.stageOf.get(id);
    if (found === 'open' && stage !== 'sign' && !(stage === 'stow' && stow)) skip(state, id, event);
  }
  state.brokenOff = {step: step.id, at_utc: event.at_utc, reason, text: reason === null ? null : ''};
  Object.assign(state, {blocked: null, copyWaits: null});
  setRowToZeroAgain(state);
}

/**
 * Let the row be set to zero again where its old values were copied down:
 * from then on it may have been cleared.
 */
function setRowToZeroAgain(state) {
  if (state.copied === null || state.slot === null) return;
  for (const {id, kind} of state.plan.values()) if (kind === 'zero') makeDue(state, id);
}

/** Whether the probe is in the spindle or may be: it was being called, or no step says when it comes in. */
function mayHoldProbe(state, kind) {
  const neverLoaded = [...state.plan.values()].every(step => step.kind !== 'tool_in');
  return state.probeInSpindle || kind === 'tool_in' || neverLoaded;
}

/** Why it was broken off; said again, the last word counts. */
export function explainBreak(state, event) {
  if (state.brokenOff === null) throw new RuleError('setup.not_broken_off');
  Object.assign(state.brokenOff, {reason: event.data.reason, text: event.data.text});
}

/** It was pressed by mistake. */
export function undoBreak(state, event) {
  if (state.brokenOff === null) throw new RuleError('setup.not_broken_off');
  if (state.beforeBreak === null) throw new RuleError('setup.break_too_late');
  const {step} = state.brokenOff;
  Object.assign(state, {steps: state.beforeBreak, beforeBreak: null, brokenOff: null, givenUp: []});
  state.corrections.push({kind: 'break_undone', step, reason: '', ...when(event)});
}
