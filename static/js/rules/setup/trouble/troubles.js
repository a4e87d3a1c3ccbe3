/**
 * What may happen during a move: held, the wrong way, an alarm, nothing found, a dead probe,
 * a change that stuck. The twin of webapp/domain/setup/trouble/troubles.py, where the rules stand.
 */
import {breakFor, ENDING_STAGES} from '../notes.js';
import {askAgain, currentStep, isDone, open} from '../state.js';
import {leadSpokeAt, wayToTouch} from './stops.js';

const MOST_NOTHING_FOUND = 2;
export const BEFORE_A_TOUCH = ['over', 'lower', 'search'];
export const ON_THE_WAY = [...BEFORE_A_TOUCH, 'touch', 'square'];
const LOOKED_AT = ['confirm', 'checks'];

/** What happened, whether the ball touched anything, whether the control was reset. */
export function meetTrouble(state, event) {
  const {trouble, touched, reset} = event.data;
  const step = currentStep(state);
  state.troubles.push({
    trouble,
    axis: step?.axis ?? null,
    touched,
    reset,
    step: event.step,
    at_utc: event.at_utc,
    event: event.id,
    order: state.count,
  });
  if (step === null || state.brokenOff !== null || ENDING_STAGES.includes(state.stageOf.get(step.id))) return;
  if (trouble === 'dead_probe') {
    breakFor(state, event, 'probe');
    return;
  }
  for (const id of askedAgain(state, event.data)) askAgain(state, id);
  for (const id of wayBack(state, step)) open(state, id);
  state.beforeBreak = null;
}

/** The done steps whose answers may not hold any more. */
export function askedAgain(state, {trouble, touched, reset}) {
  const steps = [...state.plan.values()];
  const loading = steps.find(({kind}) => kind === 'tool_in');
  const loadedAt = loading ? steps.indexOf(loading) : Infinity;
  const lost = ({id, kind}, place) => {
    const stage = state.stageOf.get(id);
    const atProbe = place >= loadedAt && stage === state.stageOf.get(loading.id);
    return (
      (atProbe && kind === 'input' && touched) ||
      (atProbe && LOOKED_AT.includes(kind) && reset) ||
      (kind === 'slot' && reset) ||
      (stage === 'ready' && LOOKED_AT.includes(kind) && trouble === 'change_stuck')
    );
  };
  return steps.filter((step, place) => lost(step, place) && isDone(state, step.id)).map(({id}) => id);
}

/**
 * The done steps of the axis' stage that lead to where this happened, the way to a look for square included.
 */
export function wayBack(state, current) {
  if (current.axis === null || !ON_THE_WAY.includes(current.kind)) return [];
  const own = [...state.plan.values()].filter(({axis}) => axis === current.axis);
  const toSquare = own.some(({id, kind}) => kind === 'square' && state.steps[id].state === 'open');
  const way = toSquare
    ? own.filter(({kind}) => kind === 'over' || kind === 'lower').map(({id}) => id)
    : wayToTouch(state, current.axis);
  const ids = [...state.plan.keys()];
  return way.filter(id => ids.indexOf(id) <= ids.indexOf(current.id) && isDone(state, id));
}

/** Whether a search of this axis waits for the lead: it found nothing twice since the lead last spoke. */
export function searchWaits(state, axis) {
  const spoken = leadSpokeAt(state, axis);
  return (
    state.troubles.filter(one => one.axis === axis && one.trouble === 'nothing_found' && one.order > spoken)
      .length >= MOST_NOTHING_FOUND
  );
}
