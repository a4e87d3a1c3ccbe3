/**
 * What a lead has said since about a person's last setup at a machine on this tablet:
 * for whoever went on before the answer came.
 */
import {MINE} from './opening.js';

const MOST_LOOKED_AT = 30;

/**
 * {answers: [{text, axis, answer}], notAccepted}:
 * said after it was signed, newest setup of this person here; null without one.
 */
export async function lastWords({shelf, outbox}, machine, person) {
  const ids = ((await shelf.noted(MINE)) ?? []).slice(-MOST_LOOKED_AT).toReversed();
  for (const id of ids) {
    const events = (await outbox.ofSetup(id)).map(({payload}) => payload);
    if (events[0]?.person === person && events[0].data.machine === machine)
      return wordsAbout(events, await shelf.decisions(id));
  }
  return null;
}

function wordsAbout(events, decisions) {
  const signed = events.findLast(({type}) => type === 'setup.signed')?.at_utc;
  const asked = new Map(
    events.filter(({type}) => type === 'question.put').map(({data}) => [data.question, data]),
  );
  const answers = decisions
    .filter(
      ({type, at_utc: at, data}) =>
        type === 'question.answered' && signed !== undefined && at > signed && asked.has(data.question),
    )
    .map(({data, by, at_utc: at}) => ({
      ...asked.get(data.question),
      answer: {decision: data.decision, reason: data.reason, by, at_utc: at},
    }));
  const refused = decisions.find(({type}) => type === 'setup.not_accepted');
  return {
    answers,
    notAccepted: refused ? {reason: refused.data.reason, by: refused.by, at_utc: refused.at_utc} : null,
  };
}
