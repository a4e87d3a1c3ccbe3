/**
 * What a person at the tablet is told of the server's ledger: that it is not the one of before, or went back
 * with a reason.
 */
import {el} from '../dom.js';
import {say, sayWith} from '../say.js';
import {notice} from '../text.js';
import {momentSaid} from '../when.js';

/** The notice, or null; `all`: also an alarm that a lead has answered, which stays to be read. */
export function ledgerNotice({ledger}, {all = false} = {}) {
  const {alarm = null, restored = null, answered = null} = ledger ?? {};
  const told = all && answered ? found(answered) : null;
  const parts = [alarm && raised(alarm), restored && broughtBack(restored), told];
  if (!parts.some(Boolean)) return null;
  return el('div', {data: {ledger: alarm ? 'alarm' : 'told'}}, parts);
}

function raised({kind, kept, got, noted}) {
  const sent = say(noted ? 'tablet.ledger.noted' : 'tablet.ledger.not_noted');
  return notice('stop', say(`tablet.ledger.${kind}`, {kept, got: got ?? 0}), ' ', sent);
}

const broughtBack = ({atUtc, reason}) =>
  notice('plain', sayWith('tablet.ledger.restored', {time: momentSaid(atUtc)}, {reason}));

const found = ({answer: {at_utc: atUtc, reason}}) =>
  notice('plain', sayWith('tablet.ledger.answered', {time: momentSaid(atUtc)}, {reason}));
