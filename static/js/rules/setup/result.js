/** What a folded setup says, as plain data: the twin of the second half of webapp/domain/setup/fold.py. */
import {toEnterNm} from './touching/by_hand.js';
import {redoOf, untouchedSince} from './touching/redo.js';
import {waitsFor} from './company.js';
import {currentStep} from './state.js';
import {mayLeave} from './leaving.js';
import {photosOf} from './photos.js';
import {remarksOf} from './remarks.js';
import {mayTouchAgain} from './trouble/stops.js';
import {BEFORE_A_TOUCH, searchWaits} from './trouble/troubles.js';
import {reasonsFor, waitsAtCompare} from './touching/touches.js';

/** The result of the fold; shares its parts with the state. */
export function result(state, seen) {
  const step = currentStep(state);
  return {
    setup: state.setup,
    sheet: state.sheetHash,
    person: state.person,
    machine: state.machine,
    started_at_utc: state.startedAtUtc,
    status: statusOf(state),
    current_step: step?.id ?? null,
    blocked: blockedBy(state, step),
    keep_because: step?.kind === 'compare' ? (reasonsFor(state, step.axis)[0] ?? null) : null,
    probe_in_spindle: state.probeInSpindle,
    input_checked_ms: state.inputCheckedMs,
    steps: state.steps,
    cautions: state.cautions,
    slot: state.slot,
    copied: state.copied,
    touches: state.touches,
    squares: state.squares,
    triggers: state.triggers,
    to_enter_nm: toEnterNm(state),
    values_nm: valuesNm(state),
    holds: state.holds,
    photos: photosOf(state),
    beside: state.beside,
    beside_waits_for: waitsFor(state),
    questions: state.questions,
    worries: state.worries,
    corrections: state.corrections,
    resumes: state.resumes,
    broken_off: state.brokenOff,
    break_can_be_undone: state.beforeBreak !== null,
    outcome: state.outcome,
    signatures: state.signatures,
    sign_off: state.signOff,
    not_accepted: state.notAccepted,
    redo: redoOf(state),
    troubles: state.troubles,
    lifts: state.lifts,
    may_touch_again: step?.kind === 'compare' && (!state.stopsAreTheLeads || mayTouchAgain(state, step.axis)),
    may_leave: mayLeave(state),
    copy_waits_for_label: state.copyWaits !== null,
    put_backs: state.putBacks,
    zeroed: state.zeroed,
    not_usable:
      state.givenUp.length === 0
        ? null
        : {slot: state.slot, axes: state.givenUp, zeroed: state.zeroed !== null},
    left_unsigned: state.leftUnsigned,
    taken_over: state.takenOver,
    remarks: remarksOf(state),
    problems: [...state.problems, ...problemsOfDecisions(state, seen)],
  };
}

function statusOf(state) {
  if (state.outcome === 'left') return 'left';
  if (state.notAccepted !== null) return 'not_accepted';
  if (state.signOff !== null) return 'signed_off';
  const last = state.signatures.at(-1);
  if (last && last.state !== 'refused') return 'signed';
  return state.outcome === null ? 'running' : 'finished';
}

function valuesNm(state) {
  const values = {X: null, Y: null, Z: null};
  for (const touch of state.touches) if (touch.kept) values[touch.axis] = touch.value_nm;
  return values;
}

/** Why the current step is still open or what it waits for; the lead's word comes first. */
function blockedBy(state, step) {
  if (step === null) return null;
  if (step.kind === 'finish' && state.brokenOff !== null && state.brokenOff.reason === null) {
    return {code: 'setup.break_needs_reason', fields: {}};
  }
  if (step.kind === 'sign' && state.signatures.length > 0) {
    return {
      code: 'setup.signature_refused',
      fields: {reason_code: `signature.${state.signatures.at(-1).refused_because}`},
    };
  }
  return leadSays(state) ?? state.blocked ?? waitsHere(state, step);
}

function waitsHere(state, {kind, axis}) {
  if (BEFORE_A_TOUCH.includes(kind) && searchWaits(state, axis))
    return {code: 'setup.search_needs_lead', fields: {axis}};
  return kind === 'compare' ? waitsAtCompare(state, axis) : null;
}

/** The lead's word that is still to be followed: to break off, or to touch an axis again. */
function leadSays(state) {
  if (state.brokenOff !== null || state.outcome !== null) return null;
  for (const {question, axis, answer} of state.questions) {
    if (answer?.decision === 'break_off')
      return {code: 'setup.lead_says_break_off', fields: {reason: answer.reason}};
    if (answer?.decision === 'touch_again' && untouchedSince(state, {question, axis})) {
      return {code: 'setup.lead_says_touch_again', fields: {axis, reason: answer.reason}};
    }
  }
  return null;
}

/** What is wrong with the server's decisions, looked at together with the events. */
function problemsOfDecisions(state, seen) {
  const found = [...state.setAside]
    .filter(([id]) => !seen.has(id))
    .map(([id, {code, fields}]) => ({event: id, code, fields}));
  for (const [event, caution] of state.notFound)
    found.push({event, code: 'setup.caution_not_found', fields: {caution}});
  if (state.signOff === null) return found;
  if (state.signatures.at(-1)?.state !== 'verified')
    found.push({event: null, code: 'setup.sign_off_unverified', fields: {}});
  if (state.signOff.by === state.person)
    found.push({event: null, code: 'setup.sign_off_by_operator', fields: {}});
  return found;
}
