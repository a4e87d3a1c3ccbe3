/** What this tablet holds: which device it is, what has not been sent, and what the server answered to it. */
import {keepFile, waitingFile} from '../../waiting_file.js';
import {button, el} from '../dom.js';
import {say, sayError} from '../say.js';
import {moment} from '../when.js';
import {ledgerNotice} from './ledger.js';
import {outOfReach} from './times.js';

export function holdsView(tablet) {
  const {device, waitingRows: rows, clock} = tablet;
  const fact = (code, text) => el('div', {}, el('dt', {}, say(code)), el('dd', {}, text));
  return {
    name: 'holds',
    title: say('tablet.holds.title'),
    left: [
      ledgerNotice(tablet, {all: true}),
      outOfReach(tablet),
      el(
        'dl',
        {class: 'says one'},
        fact('tablet.holds.device', device.label),
        fact('tablet.holds.id', device.id),
        fact('tablet.holds.version', tablet.version),
        fact(
          'tablet.holds.reached',
          clock.comparedAtUtc ? moment(clock.comparedAtUtc) : say('tablet.holds.never'),
        ),
        clock.isDoubtful && fact('tablet.holds.clock', say('tablet.network.clock')),
      ),
    ],
    right: [
      waitingList(rows),
      photosWait(tablet.waitingPhotos),
      rows.length > 0 && el('p', {}, say('tablet.holds.carry')),
    ],
    go: {label: say('tablet.holds.send'), action: 'fetch', press: () => tablet.syncNow()},
    beside: [tablet.backButton({name: 'machines'}), rows.length > 0 && writeButton(tablet)],
  };
}

const photosWait = count =>
  count > 0 && el('p', {}, say(`tablet.holds.photo${count > 1 ? 's' : ''}`, {count}));

/** For a tablet that cannot reach its server: a copy of all that waits, to be carried to the desk. */
function writeButton({device, waitingRows, clock}) {
  return button(say('tablet.holds.write'), 'write', () =>
    keepFile(waitingFile(device, waitingRows, clock.nowUtc())),
  );
}

/** Unsent events, oldest first, with the server's answer where it gave one. */
export function waitingList(rows) {
  if (rows.length === 0) return el('p', {class: 'lead'}, say('tablet.holds.nothing'));
  return el(
    'table',
    {class: 'waiting'},
    el('caption', {}, say('tablet.holds.waiting', {count: rows.length})),
    el(
      'tbody',
      {},
      rows.map(({payload, sequence, outcome}) =>
        el(
          'tr',
          {},
          el('td', {class: 'number'}, String(sequence)),
          el('td', {}, moment(payload.at_utc)),
          el('td', {}, payload.type),
          el('td', {}, outcome ? answer(outcome) : ''),
        ),
      ),
    ),
  );
}

/** What the server answered, with its reason where it refused. */
function answer(outcome) {
  const said = say(`tablet.outcome.${outcome.outcome}`);
  return outcome.outcome === 'refused' ? [said, el('br'), sayError(outcome)] : said;
}
