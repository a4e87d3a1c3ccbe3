/**
 * Sending pictures, one at a time, beside the events and behind them: an event never waits for a picture.
 *
 * - A picture goes once the server has taken the event that names it.
 * - Only a receipt under the server's key takes it off the list. After a failure all of them rest for a while
 *   that doubles, so that a slow network is left to the events; what the server turned down alone does not
 *   stand in the way of the next.
 */
import {verified} from './proof/jws.js';

const RECEIPT = 'zerokeep-receipt+jws';
const DOMAIN = 'zerokeep/picture/1';
const [FIRST_PAUSE_MS, LONGEST_PAUSE_MS] = [15_000, 10 * 60_000];
/** This one alone cannot be taken now. */
const ITS_OWN = new Set([409, 422]);

/** @typedef {import('./api.js').ApiError} Failed */

export class PhotoPost {
  /** @type {?Promise<void>} */
  #running = null;
  #notBefore = -Infinity;
  #pauseMs = FIRST_PAUSE_MS;
  /** @type {import('./api.js').Api} */
  api;
  /** @type {import('./store/photos.js').Photos} */
  photos;
  /** @type {any} */
  device;
  /** @type {import('./clock.js').Clock} */
  clock;
  /** @type {() => unknown} */
  onSent;

  /** `parts`: api, photos, device, clock, onSent() after each picture that the server answered about. */
  constructor(parts) {
    Object.assign(this, {onSent: () => {}, ...parts});
  }

  /** Send all that wait, unless that is under way. Never throws. */
  run() {
    this.#running ??= this.#all().finally(() => {
      this.#running = null;
    });
    return this.#running;
  }

  async #all() {
    if (this.clock.forward() < this.#notBefore) return;
    try {
      for (const event of await this.photos.waiting()) await this.#oneOrItsOwn(event);
      this.#pauseMs = FIRST_PAUSE_MS;
    } catch (error) {
      const {retryAfterS = 0} = /** @type {Failed} */ (error);
      const askedMs = 1000 * retryAfterS;
      this.#notBefore = this.clock.forward() + Math.max(this.#pauseMs, askedMs);
      this.#pauseMs = Math.min(2 * this.#pauseMs, LONGEST_PAUSE_MS);
    }
  }

  async #oneOrItsOwn(event) {
    try {
      await this.#one(event);
    } catch (error) {
      if (!ITS_OWN.has(/** @type {Failed} */ (error).status ?? 0)) throw error;
    }
  }

  async #one(event) {
    const row = await this.photos.of(event);
    if (!row) return;
    const {receipt} = await this.api.photo(event, row.bytes);
    const told = await verified(receipt, this.device.receipt_key, RECEIPT);
    if (told.domain !== DOMAIN || told.event !== event || !['kept', 'refused'].includes(told.outcome)) return;
    await this.photos.settle(event, {outcome: told.outcome, code: told.code, fields: told.fields});
    await this.onSent();
  }
}
