/**
 * What a setup amounts to so far, and the small moves that change it. The twin of webapp/domain/setup/state.py.
 * Handlers throw a RuleError for an event that is not allowed, before they changed anything.
 *
 * @typedef {{id: string, type: string, setup: string, sheet: string, person: string, device: string, at_utc: string,
 *   step: string|null, data: Object}} SetupEvent
 */

const opened = () => ({state: 'open', event: null, at_utc: null});

/** The state before the first event. */
export function newState(sheet) {
  const stages = sheet.procedure.stages.flatMap(stage => stage.steps.map(step => [step.id, stage.id]));
  const plan = new Map(sheet.procedure.stages.flatMap(stage => stage.steps).map(step => [step.id, step]));
  return {
    sheet, plan, stageOf: new Map(stages), axes: new Map(sheet.axes.map(axis => [axis.axis, axis])),
    setup: null, sheetHash: null, person: null, device: null, machine: null, startedAtUtc: null,
    probeInSpindle: false, blocked: null, slot: null, copied: null, brokenOff: null, beforeBreak: null,
    outcome: null, signOff: null, notAccepted: null,
    steps: Object.fromEntries([...plan.keys()].map(id => [id, opened()])),
    cautions: [], touches: [], squares: [], touchNotes: [], searchedAt: new Map(), holds: [], questions: [], questionOrder: new Map(),
    worries: [], corrections: [], resumes: [], signatures: [], problems: [],
    answers: new Map(), worriesClosed: new Map(), verified: new Set(), refused: new Map(), setAside: new Map(),
    // Counts events, so that "since that touch" has a meaning without a clock.
    count: 0,
  };
}

/** The first open step as the sheet has it, or null. */
export function currentStep(state) {
  for (const [id, step] of state.plan) if (state.steps[id].state === 'open') return step;
  return null;
}

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
}

/** Skip an open step for good. */
export function skip(state, id, event) {
  state.steps[id] = {state: 'skipped', event: event.id, at_utc: event.at_utc};
}

/** Open a step again; what it brought no longer counts, and its events stay. */
export function open(state, id) {
  state.steps[id] = opened();
  state.blocked = null;
  const {kind, axis} = state.plan.get(id);
  if (kind === 'slot') state.slot = null;
  if (kind === 'copy') state.copied = null;
  if (kind === 'tool_out') state.probeInSpindle = true;
  if (kind === 'square') for (const square of state.squares) square.stands = false;
  if (kind !== 'touch' && kind !== 'compare') return;
  for (const touch of state.touches) if (touch.axis === axis) Object.assign(touch, {kept: false, because: null});
}

/** The place of the axis' last touch in `touches`, -1 when there is none. */
export const lastTouch = (state, axis) => state.touches.findLastIndex(touch => touch.axis === axis);
