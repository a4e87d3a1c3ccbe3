/**
 * Whether a lead wants a finished setup done again.
 * The twin of webapp/domain/setup/touching/redo.py, where the rules stand.
 */
const AGAIN = ['touch_again', 'redo', 'break_off'];

/**
 * Why, about which axis (null: all of it), in which words and by whom a setup is to be done again;
 * null where it is not.
 */
export function redoOf(state) {
  if (state.notAccepted !== null) return {why: 'not_accepted', axis: null, ...said(state.notAccepted)};
  if (state.outcome === null || state.signOff !== null || state.brokenOff !== null) return null;
  const question = state.questions.findLast(one => AGAIN.includes(one.answer?.decision) && holds(state, one));
  return question ? {why: question.answer.decision, axis: question.axis, ...said(question.answer)} : null;
}

const said = ({reason, by, at_utc: at}) => ({reason, by, at_utc: at});
const holds = (state, question) =>
  question.answer.decision !== 'touch_again' ||
  question.answer.at_utc > finishedAtUtc(state) ||
  untouchedSince(state, question);

function finishedAtUtc(state) {
  const times = Object.entries(state.steps)
    .filter(([id]) => state.plan.get(id).kind === 'finish')
    .map(([, {at_utc: at}]) => at ?? '');
  return times.reduce((latest, at) => (at > latest ? at : latest), '');
}

/** Whether the question's axis has not been searched again since the question was put. */
export const untouchedSince = (state, {question, axis}) =>
  axis !== null && (state.searchedAt.get(axis) ?? 0) < state.questionOrder.get(question);
