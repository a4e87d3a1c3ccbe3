/** The one quiet line: what is kept here and what has been sent. Never colour alone, never a moving thing. */
import {el} from './dom.js';
import {say} from './say.js';
import {clockTime, span} from './when.js';

export class NetworkLine {
  constructor() {
    this.text = el('span', {});
    this.element = el('p', {class: 'network', data: {network: ''}}, this.text);
  }

  /** `tally` of the outbox, `state` of the sync, the clock. */
  show({count, oldestAtUtc, refused = 0}, state, clock) {
    const line = this.#words(count - refused, oldestAtUtc, state, clock);
    const notTaken = state.device === 'disabled' || state.device === 'forked' ? say(`tablet.network.device_${state.device}`) : null;
    const warned = [line, refused > 0 && say('tablet.network.refused', {count: refused}), notTaken, clock.isWrong && say('tablet.network.clock')].filter(Boolean).join(' · ');
    this.element.dataset.network = count > 0 ? 'waiting' : 'sent';
    this.element.dataset.waiting = count;
    if (this.text.textContent !== warned) this.text.textContent = warned;
  }

  #words(count, oldestAtUtc, {lastAtUtc, reached}, clock) {
    if (count > 0) return say('tablet.network.waiting', {count, span: span(clock.sinceMs(oldestAtUtc))});
    if (lastAtUtc) return say(reached ? 'tablet.network.sent' : 'tablet.network.sent_before', {time: clockTime(lastAtUtc)});
    return say('tablet.network.nothing');
  }
}
