/**
 * What a setup amounts to so far, and the small moves that change it. The twin of
 * webapp/domain/setup/state.py. Handlers throw a RuleError for an event that is not allowed, before they
 * changed anything.
 *
 * @typedef {{id: string, type: string, setup: string, sheet:
 * string, person: string, device: string, at_utc: string,
 *   step: string|null, data: Object}} SetupEvent
 */
import {askedFor, stagesFor} from './for_whom.js';

/**
 * From this format of the sheet on a stop is the lead's,
 * copied values are looked up in every row, and a broken off row is set to zero again.
 */
const STOPS_ARE_THE_LEADS = 2;
/** From this one on what only notes something counts until the signature. */
const NOTED_TILL_SIGNED = 3;

const opened = () => ({state: 'open', event: null, at_utc: null});

/** The state before the first event. */
export function newState(sheet) {
  const state = {
    sheet,
    plan: new Map(),
    stopsAreTheLeads: (sheet.format ?? 1) >= STOPS_ARE_THE_LEADS,
    notedTillSigned: (sheet.format ?? 1) >= NOTED_TILL_SIGNED,
    stageOf: new Map(),
    axes: new Map(sheet.axes.map(axis => [axis.axis, axis])),
    setup: null,
    sheetHash: null,
    person: null,
    device: null,
    machine: null,
    startedAtUtc: null,
    probeInSpindle: false,
    blocked: null,
    slot: null,
    copied: null,
    brokenOff: null,
    beforeBreak: null,
    copyWaits: null,
    zeroed: null,
    leftUnsigned: null,
    takenOver: null,
    outcome: null,
    signOff: null,
    notAccepted: null,
    steps: {},
    cautions: [],
    touches: [],
    squares: [],
    touchNotes: [],
    searchedAt: new Map(),
    holds: [],
    photos: [],
    beside: [],
    named: new Map(),
    pictures: new Map(),
    questions: [],
    questionOrder: new Map(),
    worries: [],
    corrections: [],
    resumes: [],
    signatures: [],
    givenUp: [],
    lifts: [],
    liftOrder: new Map(),
    putBacks: [],
    troubles: [],
    remarks: [],
    problems: [],
    answers: new Map(),
    worriesClosed: new Map(),
    verified: new Set(),
    refused: new Map(),
    liftsVerified: new Set(),
    liftsRefused: new Map(),
    setAside: new Map(),
    notFound: new Map(),
    triggers: [],
    triggeredAt: new Map(),
    enteredOtherwise: new Map(),
    // Counts events, so that "since that touch" has a meaning without a clock.
    count: 0,
    slotReadAt: 0,
    inputCheckedMs: null,
  };
  planFor(state, null);
  return state;
}

/** Plan the steps that stand for a person, all of them open; before anybody began: every step. */
export function planFor(state, person) {
  const stages = stagesFor(state.sheet, person);
  const steps = stages.flatMap(stage => stage.steps);
  const zero = state.sheet.row_to_zero ?? null;
  state.plan = new Map(
    steps
      .flatMap(step => (zero && step.kind === 'finish' ? [zero, step] : [step]))
      .map(step => [step.id, step]),
  );
  state.stageOf = new Map(stages.flatMap(stage => stage.steps.map(step => [step.id, stage.id])));
  if (zero) state.stageOf.set(zero.id, 'stow');
  state.steps = Object.fromEntries(steps.map(({id}) => [id, opened()]));
}

/** The first open step as the sheet has it, or null. */
export function currentStep(state) {
  for (const [id, step] of state.plan) if (state.steps[id]?.state === 'open') return step;
  return null;
}

/** Whether a hold, a worry or a question counts now. */
export const mayNote = state =>
  state.outcome === null ||
  (state.notedTillSigned && state.outcome !== 'left' && currentStep(state) !== null);

/** List a problem; the event still counts. */
export function note(state, event, code, fields = {}) {
  state.problems.push({event: event?.id ?? null, code, fields});
}

/** Leave the current step open and say why. */
export function stay(state, code, fields = {}) {
  state.blocked = {code, fields};
}

/** Close a step. A broken-off setup can then no longer be taken up again. */
export function close(state, id, event) {
  state.steps[id] = {state: 'done', event: event.id, at_utc: event.at_utc};
  state.blocked = null;
  state.beforeBreak = null;
  if (askedFor(state.sheet, state.plan.get(id), state.person) && !state.named.has(id))
    note(state, event, 'setup.beside_not_named', {step: id});
}

/** Skip an open step for good. */
export function skip(state, id, event) {
  state.steps[id] = {state: 'skipped', event: event.id, at_utc: event.at_utc};
}

/** Open a step again; what it brought no longer counts, and its events stay. */
export function open(state, id) {
  askAgain(state, id);
  const {kind, axis} = state.plan.get(id);
  if (kind === 'slot') Object.assign(state, {slot: null, copyWaits: null});
  if (kind === 'copy') Object.assign(state, {copied: null, copyWaits: null});
  if (kind === 'zero') state.zeroed = null;
  if (kind === 'tool_out') state.probeInSpindle = true;
  if (kind === 'square') for (const square of state.squares) square.stands = false;
  if (kind !== 'touch' && kind !== 'compare') return;
  for (const touch of state.touches)
    if (touch.axis === axis) Object.assign(touch, {kept: false, because: null});
}

/**
 * Open a step again whose answer still stands until another is given: what a reset of the control dropped.
 */
export function askAgain(state, id) {
  state.steps[id] = opened();
  state.blocked = null;
  state.named.delete(id);
}

/** Let a step be due that no plain setup has. */
export function makeDue(state, id) {
  state.steps[id] = opened();
}

/**
 * One thing that the lead is to see, as plain data: every remark has the same fields.
 * @type {(kind: string, at: {event: string, at_utc: string}, parts?: {axis?: ?string, values_nm?: number[],
 *   labels?: string[], by?: ?string}) => Object}
 */
export const remarkOf = (
  kind,
  {event, at_utc: atUtc},
  {axis = null, values_nm: values = [], labels = [], by = null} = {},
) => ({kind, axis, values_nm: values, labels, by, event, at_utc: atUtc});

/** Note what the lead is to see. */
export function remark(state, kind, event, parts) {
  state.remarks.push(remarkOf(kind, {event: event.id, at_utc: event.at_utc}, parts));
}

/** Whether a step is done; one that is not there is not. */
export const isDone = (state, id) => state.steps[id]?.state === 'done';

/** The place of the axis' last touch in `touches`, -1 when there is none. */
export const lastTouch = (state, axis) => state.touches.findLastIndex(touch => touch.axis === axis);
