/**
 * Events that answer a step, except touches and the end. The twin of webapp/domain/setup/steps.py:
 * a step closes only on the answer that it asks for, and what was typed is read again.
 */
import {AXES, matchSlot, notCleared, parkedNm, sameTool, slotLengthNm} from '../touch/compare.js';
import {RuleError} from '../plain/errors.js';
import {isOld} from './touching/input_age.js';
import {close, currentStep, isDone, note, open, stay} from './state.js';
import {searchWaits} from './trouble/troubles.js';

const HOUR_MS = 3_600_000;

export function readCaution(state, event) {
  const step = currentStep(state);
  const {caution} = event.data;
  if (step.caution.id !== caution)
    throw new RuleError('setup.caution_other', {caution, expected: step.caution.id});
  listCaution(state, event, caution, event.at_utc);
}

/** Acknowledged earlier in this shift, where the sheet lets this person do so. */
export function carryCaution(state, event) {
  const step = currentStep(state);
  const {caution, read_at_utc: readAtUtc} = event.data;
  if (step.caution.id !== caution)
    throw new RuleError('setup.caution_other', {caution, expected: step.caution.id});
  const sinceMs = Date.parse(event.at_utc) - Date.parse(readAtUtc);
  const holds = sinceMs >= 0 && sinceMs <= (state.sheet.shop.shift_hours ?? 0) * HOUR_MS;
  if (!mayCarry(state.sheet, step, event.person) || !holds)
    throw new RuleError('setup.caution_not_carried', {caution});
  listCaution(state, event, caution, readAtUtc);
}

/** Whether this person may read a caution once a shift: the step and the lead both have to allow it. */
export function mayCarry(sheet, step, person) {
  return Boolean(step.once_a_shift && sheet.people.find(({id}) => id === person)?.once_a_shift);
}

function listCaution(state, event, caution, readAtUtc) {
  state.cautions.push({caution, at_utc: event.at_utc, read_at_utc: readAtUtc, event: event.id});
  close(state, event.step, event);
}

/** Only a clear machine goes on. */
export function checkBoard(state, event) {
  const {found} = event.data;
  state.probeInSpindle = found === 'probe_in_spindle';
  if (found === 'clear') close(state, event.step, event);
  else stay(state, `setup.board_${found}`);
}

/** A confirmation, one answer out of some, or a search that is set. */
export function doStep(state, event) {
  const step = currentStep(state);
  const {answer} = event.data;
  const choice = step.choices.find(({id}) => id === answer);
  const isAsked = step.choices.length > 0 && !isPractised(state.sheet, step, event.person);
  if (!choice && (isAsked || answer !== 'done')) throw new RuleError('setup.choice_unknown', {answer});
  if (choice && !choice.closes) {
    stay(state, 'setup.answer_keeps_open', {label: choice.label});
    return;
  }
  if (step.kind === 'search') {
    if (searchWaits(state, step.axis)) throw new RuleError('setup.search_needs_lead', {axis: step.axis});
    if (isOld(state, event.elapsed_ms)) {
      stay(state, 'setup.input_old', {});
      return;
    }
    state.searchedAt.set(step.axis, state.count);
  }
  if (step.kind === 'input') state.inputCheckedMs = event.elapsed_ms;
  close(state, step.id, event);
}

/** Whether a step asks this person nothing: it has words for whom is practised, and the sheet says who is. */
export function isPractised(sheet, step, person) {
  return Boolean(step.practised && sheet.people.find(({id}) => id === person)?.practised);
}

/** A list closes its step once every line of it is ticked. */
export function tickChecks(state, event) {
  const ticked = new Set(event.data.ticked);
  const left = currentStep(state).checks.find(({id}) => !ticked.has(id));
  if (left === undefined) close(state, event.step, event);
  else stay(state, 'setup.check_left', {label: left.label});
}

/** The number on the control against the probe's or the parking tool's. */
export function readTool(state, event) {
  const {typed} = event.data;
  const loading = currentStep(state).kind === 'tool_in';
  const expected = loading ? state.sheet.machine.probe_tool : state.sheet.machine.parking_tool;
  const matches = sameTool(typed, expected);
  if (matches !== event.data.matches) note(state, event, 'setup.tool_differs', {typed, expected});
  if (!matches) {
    stay(state, 'setup.tool_other', {typed, expected});
    return;
  }
  state.probeInSpindle = loading;
  close(state, event.step, event);
}

/** Whose slot is selected. */
export function readSlot(state, event) {
  const {typed, outcome: claimed} = event.data;
  const found = matchSlot(state.sheet, typed, event.person, event.at_utc);
  if (found.outcome !== claimed)
    note(state, event, 'setup.slot_differs', {typed, claimed, found: found.outcome});
  if (found.outcome !== 'own') {
    stay(state, `setup.slot_${found.outcome}`, {label: found.label || typed, owner: found.owner_name});
    return;
  }
  if (state.slot !== null && state.slot !== found.label) beginInAnotherSlot(state);
  Object.assign(state, {slot: found.label, slotReadAt: state.count});
  close(state, event.step, event);
}

/** Open what was done in the slot that was selected before: nothing of it was done in this one. */
function beginInAnotherSlot(state) {
  for (const {id, kind, axis} of state.plan.values()) {
    if ((kind === 'copy' || kind === 'clear' || axis !== null) && isDone(state, id)) open(state, id);
  }
}

/** Only three zeros go on. */
export function clearSlot(state, event) {
  if (!staysUncleared(state, event, typedValues(state, event))) close(state, event.step, event);
}

/** Whether the row holds another value than a cleared one does; says on which axis. */
export function staysUncleared(state, event, values) {
  const axis = notCleared(state.sheet, values);
  if (axis === undefined) return false;
  stay(state, parkedNm(state.sheet, axis) === 0 ? 'setup.slot_not_zero' : 'setup.slot_not_parked', {
    axis,
    typed: event.data.typed[axis],
  });
  return true;
}

/** The typed values of X, Y and Z; one that cannot be read is not allowed. */
export function typedValues(state, event) {
  const {typed, values_nm: claimed} = event.data;
  const values = Object.fromEntries(
    AXES.map(axis => [axis, readLength(slotLengthNm, state, typed[axis], axis)]),
  );
  for (const axis of AXES)
    if (claimed[axis] !== values[axis]) note(state, event, 'setup.value_differs', {axis, typed: typed[axis]});
  return values;
}

/** The typed length by one of the readers of compare.js; what cannot be read is not allowed. */
export function readLength(read, state, typed, axis) {
  try {
    return read(typed, state.sheet.machine, axis);
  } catch (error) {
    if (!(error instanceof RuleError)) throw error;
    throw new RuleError('setup.length_unreadable', {axis, typed});
  }
}
