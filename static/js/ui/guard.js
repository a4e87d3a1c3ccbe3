/**
 * Ghost touches. Wet and oily screens make taps that nobody meant, mostly a second one right behind the first.
 * - A tap on a control within 300 ms of the tap before it is ignored. Keys of the keypad are let through sooner when they
 *   differ or after the time that a finger bounces: what they type is seen, and counts only when it is entered.
 * - For as long after a new screen appeared nothing can be pressed, so that a double tap never answers the next question.
 */
const REPEAT_MS = 300;
const BOUNCE_MS = 90;
export const SETTLE_MS = 300;

export class Guard {
  #shownAt = 0;
  #last = {at: -Infinity, key: null};
  #timer = null;

  constructor(root, {forward = () => performance.now()} = {}) {
    Object.assign(this, {root, forward});
    root.addEventListener('click', event => this.#judge(event), {capture: true});
  }

  /** Something is being kept: no screen has settled until the next one stands. */
  working() {
    clearTimeout(this.#timer);
    this.root.dataset.settled = 'no';
  }

  /** A new screen stands; controls work again once it has been seen for a moment. */
  shown() {
    this.#shownAt = this.forward();
    this.root.dataset.settled = 'no';
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => { this.root.dataset.settled = 'yes'; }, SETTLE_MS);
  }

  #judge(event) {
    const control = event.target.closest?.('button, a, summary, input, label');
    if (!control || control.matches('input[type="text"], input[type="password"], input[type="search"]')) return;
    const at = this.forward();
    const key = control.dataset.key ?? null;
    const apart = key !== null && this.#last.key !== null ? (key === this.#last.key ? BOUNCE_MS : 0) : REPEAT_MS;
    const tooSoon = at - this.#last.at < apart || at - this.#shownAt < SETTLE_MS;
    const synthetic = control.matches('input') && event.detail === 0;
    if (tooSoon && !synthetic) {
      event.preventDefault();
      event.stopImmediatePropagation();
      return;
    }
    this.#last = {at, key};
  }
}
