/**
 * The one quiet line: what is kept here and what has been sent. Never colour alone, never a moving thing.
 * Whoever hears the page is told when the server is lost or found, and of what is wrong, each once: not of
 * every press that is kept and sent, and not of every minute (WCAG 2.2, 4.1.3).
 */
import {el} from './dom.js';
import {say} from './say.js';
import {clockTime, span} from './when.js';

const SAME_DAY_MS = 12 * 3_600_000;

export class NetworkLine {
  /** @type {string|boolean|undefined} what was told last: what is wrong, or whether the server is there */
  #heard;

  /** @param {(text: string) => void} [tell] says it to whoever hears the page */
  constructor(tell = () => {}) {
    this.tell = tell;
    this.text = el('span', {});
    this.element = el('p', {class: 'network', data: {network: ''}}, this.text);
  }

  /**
   * `tally` of the outbox, `state` of the sync, the clock, what is known of the ledger.
   * @param {{count: number, oldestAtUtc: ?string, refused?: number, photos?: number}} tally
   * @param {any} state
   * @param {import('../clock.js').Clock} clock
   * @param {?import('../store/ledger.js').Ledger} [ledger]
   */
  show({count, oldestAtUtc, refused = 0, photos = 0}, state, clock, ledger = null) {
    const warning = warningOf(refused, state, clock, ledger);
    const text = warning
      ? [shortly(count, refused), warning].filter(Boolean).join(' · ')
      : atLength({count, oldestAtUtc, photos}, state, clock);
    this.element.dataset.network = count + photos > 0 ? 'waiting' : 'sent';
    this.element.dataset.waiting = count;
    if (this.text.textContent !== text) this.text.textContent = text;
    const now = warning ?? state.reached;
    if (this.#heard !== undefined && now !== undefined && now !== this.#heard) this.tell(text);
    this.#heard = now ?? this.#heard;
  }
}

function atLength({count, oldestAtUtc, photos}, {lastAtUtc, reached}, clock) {
  if (count > 0) return say('tablet.network.waiting', {count, span: span(clock.sinceMs(oldestAtUtc))});
  if (photos > 0) return say(`tablet.network.photo${photos > 1 ? 's' : ''}`, {count: photos});
  if (reached && lastAtUtc) return say('tablet.network.sent', {time: clockTime(lastAtUtc)});
  return sentBefore(lastAtUtc ?? clock.comparedAtUtc, clock);
}

/** When the server was last reached, before this page was opened too; by its hour alone on the same day. */
function sentBefore(atUtc, clock) {
  if (!atUtc) return say('tablet.network.nothing');
  const ageMs = clock.sinceMs(atUtc);
  return ageMs < SAME_DAY_MS
    ? say('tablet.network.sent_before', {time: clockTime(atUtc)})
    : say('tablet.network.sent_long_before', {span: span(ageMs)});
}

function shortly(count, refused) {
  if (count > refused) return say('tablet.network.waiting_short', {count: count - refused});
  return count === 0 && say('tablet.network.sent_short');
}

/**
 * The gravest alone, or null: one line is all the room there is,
 * and what this tablet holds can be read in full.
 */
function warningOf(refused, {device, also = []}, clock, ledger) {
  if (also.length > 0) return say('tablet.network.also');
  if (ledger?.alarm) return say('tablet.network.ledger');
  if (device === 'disabled' || device === 'forked') return say(`tablet.network.device_${device}`);
  if (refused > 0) return say('tablet.network.refused', {count: refused});
  return clock.isDoubtful ? say('tablet.network.clock') : null;
}
