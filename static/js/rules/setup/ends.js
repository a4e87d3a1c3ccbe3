/**
 * How a setup starts, ends, is signed, and what the server decides about it. The twin of
 * webapp/domain/setup/ends.py, where the rules stand. Decisions hold whenever they come: before the event
 * that they are about, or after it.
 */
import {RuleError} from '../plain/errors.js';
import {decideLift} from './trouble/lifts.js';
import {settlePicture} from './photos.js';
import {close, note, open, planFor} from './state.js';
import {closeWorry, noteOpenWorries} from './trouble/worries.js';

export function start(state, event) {
  if (state.setup !== null) throw new RuleError('setup.already_started');
  const {setup, sheet: sheetHash, person, device, at_utc: startedAtUtc} = event;
  Object.assign(state, {setup, sheetHash, person, device, machine: event.data.machine, startedAtUtc});
  planFor(state, person);
  const {machine, expires_at_utc: expires, people} = state.sheet;
  if (state.machine !== machine.id) note(state, event, 'setup.machine_differs', {machine: state.machine});
  if (startedAtUtc >= expires) note(state, event, 'setup.sheet_expired', {at_utc: expires});
  const listed = people.find(({id}) => id === person);
  if (!listed || (listed.until_utc !== null && startedAtUtc >= listed.until_utc))
    note(state, event, 'setup.person_not_listed', {person});
  noteOpenWorries(state, event);
}

/** The review is done. */
export function finish(state, event) {
  if (state.brokenOff !== null && state.brokenOff.reason === null)
    throw new RuleError('setup.break_needs_reason');
  const outcome = state.brokenOff === null ? 'complete' : 'broken_off';
  if (event.data.outcome !== outcome) note(state, event, 'setup.outcome_differs', {outcome});
  state.outcome = outcome;
  close(state, event.step, event);
}

/** Kept on the tablet until the server has verified the PIN. */
export function sign(state, event) {
  const {person, at_utc: atUtc} = event;
  state.signatures.push({
    person,
    meaning: event.data.meaning,
    event: event.id,
    at_utc: atUtc,
    state: 'on_device',
    refused_because: null,
    tries_left: null,
  });
  state.leftUnsigned = null;
  close(state, event.step, event);
  settleSignature(state);
}

/** Take in one decision of the server about this setup; of other types there is nothing to take in. */
export function decide(state, {type, by, at_utc: atUtc, data}) {
  const said = {by, at_utc: atUtc};
  if (type === 'question.answered')
    answer(state, data.question, {decision: data.decision, reason: data.reason, ...said});
  if (type === 'worry.closed') closeWorry(state, data.worry, {how: data.how, reason: data.reason, ...said});
  if (type === 'signature.verified') state.verified.add(data.event);
  if (type === 'signature.refused')
    state.refused.set(data.event, {refused_because: data.reason, tries_left: data.tries_left ?? null});
  if (type === 'lift.verified' || type === 'lift.refused') decideLift(state, type, data);
  if (type === 'setup.signed_off')
    state.signOff = {
      ...said,
      meaning: data.meaning,
      note: data.note,
      reviewed: data.reviewed ?? null,
      into_usual: data.into_usual ?? null,
    };
  if (type === 'setup.not_accepted')
    state.notAccepted = {...said, reason: data.reason, reviewed: data.reviewed ?? null};
  if (type === 'event.set_aside') state.setAside.set(data.event, {code: data.code, fields: data.fields});
  if (type === 'photo.kept' || type === 'photo.refused') settlePicture(state, type, data, atUtc);
  if (type === 'caution.not_found') state.notFound.set(data.event, data.caution);
  settleSignature(state);
}

function answer(state, id, given) {
  state.answers.set(id, given);
  for (const question of state.questions) if (question.question === id) question.answer = given;
}

/** Bring the last signature to what the server decided about it. */
function settleSignature(state) {
  const signature = state.signatures.at(-1);
  if (!signature) return;
  if (state.verified.has(signature.event)) {
    Object.assign(signature, {state: 'verified', refused_because: null, tries_left: null});
  } else if (state.refused.has(signature.event) && signature.state === 'on_device') {
    Object.assign(signature, {state: 'refused', ...state.refused.get(signature.event)});
    const id = Object.keys(state.steps).find(step => state.steps[step].event === signature.event);
    if (id) open(state, id);
  }
}
