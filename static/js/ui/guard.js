/**
 * Ghost touches. Wet and oily screens make taps that nobody meant,
 * mostly a second one right behind the first.
 * - A tap on a control within 300 ms of the tap before it is ignored. Keys of the keypad are let through
 *   sooner when they differ or after the time that a finger bounces: what they type is seen, and counts only
 *   when it is entered.
 * - For as long after a new screen appeared nothing can be pressed, so that a double tap never answers the
 *   next question. Where a screen was only brought up to date, this holds for what changed: a control that
 *   says and does what it did, where it was, takes the tap that was on its way.
 * - Nothing is brought up to date under a finger that is down: its tap would be lost.
 */
const REPEAT_MS = 300;
const BOUNCE_MS = 90;
export const SETTLE_MS = 300;
const MOVED_PX = 4;
const CONTROLS = 'button, a, summary, input, label';

const meaning = control =>
  JSON.stringify([control.dataset.action, control.dataset.choice, control.textContent]);
/** @returns {{promise: Promise<void>, resolve: () => void}} */
function withResolvers() {
  let resolve = () => {};
  const promise = /** @type {Promise<void>} */ (new Promise(done => (resolve = done)));
  return {promise, resolve};
}

function place(control) {
  const {left, top, width, height} = control.getBoundingClientRect();
  return [left, top, width, height];
}

export class Guard {
  #shownAt = 0;
  #last = {at: -Infinity, key: null};
  /** @type {number|undefined} */
  #timer;
  #before = new Map();
  /** @type {?{over: Promise<void>, lift: () => void}} */
  #down = null;

  /** @param {HTMLElement} root */
  constructor(root, {forward = () => performance.now()} = {}) {
    this.root = root;
    this.forward = forward;
    root.addEventListener('click', event => this.#judge(event), {capture: true});
    root.addEventListener('pointerdown', () => this.#fingerDown(), {capture: true});
    for (const type of ['pointerup', 'pointercancel'])
      addEventListener(type, () => this.#fingerUp(), {capture: true});
  }

  /** Resolves when no finger is on the screen and its tap has been dealt with. */
  async noFinger() {
    while (this.#down) await this.#down.over;
  }

  /** What stands before a screen is brought up to date: {what each control says and does: where it is}. */
  look() {
    return new Map(
      [...this.root.querySelectorAll(CONTROLS)].map(control => [meaning(control), place(control)]),
    );
  }

  /** Something is being kept: no screen has settled until the next one stands. */
  working() {
    clearTimeout(this.#timer);
    this.root.dataset.settled = 'no';
  }

  /**
   * A new screen stands; controls work again once it has been seen for a moment.
   * `before`: what `look` saw, where it only was brought up to date.
   */
  shown(before = new Map()) {
    this.#before = before;
    this.#shownAt = this.forward();
    this.root.dataset.settled = 'no';
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => {
      this.root.dataset.settled = 'yes';
    }, SETTLE_MS);
  }

  #fingerDown() {
    if (this.#down) return;
    const {promise: over, resolve: lift} = withResolvers();
    this.#down = {over, lift};
  }

  /** The click comes behind the lifting, in a task of its own. */
  #fingerUp() {
    const finger = this.#down;
    setTimeout(() => {
      if (this.#down === finger) this.#down = null;
      finger?.lift();
    });
  }

  #stoodBefore(control) {
    const was = this.#before.get(meaning(control));
    return (
      was !== undefined && place(control).every((value, index) => Math.abs(value - was[index]) < MOVED_PX)
    );
  }

  #judge(event) {
    const control = event.target.closest?.(CONTROLS);
    if (!control || control.matches('input[type="text"], input[type="password"], input[type="search"]'))
      return;
    const at = this.forward();
    const key = control.dataset.key ?? null;
    const apart =
      key !== null && this.#last.key !== null ? (key === this.#last.key ? BOUNCE_MS : 0) : REPEAT_MS;
    const tooSoon =
      at - this.#last.at < apart || (at - this.#shownAt < SETTLE_MS && !this.#stoodBefore(control));
    const synthetic = control.matches('input') && event.detail === 0;
    if (tooSoon && !synthetic) {
      event.preventDefault();
      event.stopImmediatePropagation();
      return;
    }
    this.#last = {at, key};
  }
}
