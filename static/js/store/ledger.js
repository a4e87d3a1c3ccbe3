/**
 * The server's ledger as this tablet has seen it: the last signed head, and whether each later one follows
 * from it.
 *
 * - A head is kept only from an answer under the receipt key to a fresh nonce, with the note that the server
 *   signed, and only when the proof (RFC 9162) shows that its ledger begins with the one kept before.
 * - A ledger that went back or was written anew raises an alarm: it is signed by this tablet with both heads,
 *   kept, shown, and sent until a lead has said what was found. It stops nobody at the machine.
 * - A backup that was brought back is explained by the server's signed statement. It raises no alarm and is
 *   shown for a while.
 * - In both cases what this tablet still holds is to be sent again: `restoredBy` and `look` resolve to true
 *   then.
 */
import {fromBase64url, text as readText, toBase64url, toHex} from '../proof/bytes.js';
import {isConsistent} from '../proof/consistency.js';
import {NotGenuine, sign, verified} from '../proof/jws.js';

const HEAD = 'zerokeep-head+jws';
const ALARM = 'zerokeep-alarm+jws';
const NOTE = 'ledger';
const WENT_BACK = 'services.ledger_went_back';
const SHOWN_MS = 30 * 24 * 3_600_000;
const MOST_KEPT = 40;
const FRESH = {heads: [], epoch: null, restored: null, alarm: null};

/**
 * @typedef {import('../api.js').ApiError} ApiError
 * @typedef {{size: number, root: string, note: string}} Head
 * @typedef {{heads: Head[], epoch: ?string, restored: any, alarm: any}} Known
 */

export class Ledger {
  /** @type {?Known} null: not read yet */
  #state = null;
  /** @type {import('../api.js').Api} */
  api;
  /** @type {import('./shelf.js').Shelf} */
  shelf;
  /** @type {any} */
  device;
  /** @type {import('../clock.js').Clock} */
  clock;

  /** `parts`: api, shelf, device, clock. */
  constructor(parts) {
    Object.assign(this, parts);
  }

  /**
   * {heads: [{size, root, note}] oldest first, epoch, restored, alarm}; what is shown, once it was read.
   * @returns {Known}
   */
  get state() {
    return this.#state ?? FRESH;
  }

  /** @returns {Promise<Known>} */
  async read() {
    const known = (this.#state ??= {...FRESH, ...(await this.shelf.noted(NOTE))});
    return known;
  }

  /** Take up the statement in a genuine answer to reach (null: none); resolves to whether it is a new one. */
  async restoredBy(epoch) {
    const known = await this.read();
    if (epoch === null || epoch === known.epoch) return false;
    const {restored, reason, at_utc: atUtc} = JSON.parse(readText(fromBase64url(epoch.split('.')[1])));
    const lost = Math.max(0, (known.heads.at(-1)?.size ?? 0) - restored.size);
    // The newest head that the backup has binds what follows; without one, the head that the statement names.
    const had = known.heads.filter(({size}) => size <= restored.size);
    const heads = had.length > 0 || restored.size === 0 ? had : [{...restored, note: ''}];
    await this.#keep({...known, heads, epoch, restored: {reason, atUtc, lost}});
    return true;
  }

  /** Ask for a head and compare; resolves to whether the ledger is not the one that was known. */
  async look() {
    await this.read();
    const kept = this.state.heads.at(-1) ?? null;
    let answer;
    try {
      answer = await this.#head(kept?.size ?? 0);
    } catch (thrown) {
      const error = /** @type {ApiError} */ (thrown);
      if (error.code !== WENT_BACK || kept === null) throw error;
      return this.#alarm('went_back', kept, null);
    }
    const got = headIn(answer.note);
    if (kept === null || (await grew(kept, got, answer.proof))) {
      const heads = [...this.state.heads, got].slice(-MOST_KEPT);
      if (got.size > (kept?.size ?? 0)) await this.#keep({...this.state, heads});
      return false;
    }
    return this.#alarm(got.size < kept.size ? 'went_back' : 'forked', kept, got);
  }

  async #head(since) {
    const nonce = toBase64url(crypto.getRandomValues(new Uint8Array(18)));
    const {answer} = await this.api.post('/api/head', {nonce, since});
    const said = await verified(answer, this.device.receipt_key, HEAD);
    const isAnswer = said.domain === 'zerokeep/head/1' && said.nonce === nonce && said.since === since;
    if (!isAnswer) throw new NotGenuine('sync.other_nonce');
    return said;
  }

  /** Raise an alarm, unless one stands already; from then on the ledger that is there is followed. */
  async #alarm(kind, kept, got) {
    const {alarm} = this.state;
    const heads = got ? [got] : this.state.heads;
    if (alarm && !alarm.answer) {
      if (got) await this.#keep({...this.state, heads});
      return got !== null;
    }
    const seen = head => head && {size: head.size, root: head.root, note: head.note};
    const atUtc = this.clock.nowUtc();
    const payload = {domain: 'zerokeep/alarm/1', kind, kept: seen(kept), got: seen(got), at_utc: atUtc};
    const {jws, id} = await sign(this.device.privateKey, this.device.id, ALARM, payload);
    const told = {noted: false, answer: null};
    const raised = {id, jws, kind, kept: kept.size, got: got?.size ?? null, atUtc, ...told};
    await this.#keep({...this.state, heads, alarm: raised});
    return true;
  }

  /** What goes with a request: the report that no lead has answered yet. */
  get report() {
    const {alarm} = this.state;
    return alarm && !alarm.answer ? {alarm: alarm.jws} : {};
  }

  /** What the server said of the report; resolves to whether that is new. */
  async told(said) {
    const {alarm} = this.state;
    if (!said || said.id !== alarm?.id) return false;
    const isNew = !alarm.noted || (said.answer !== null && !alarm.answer);
    if (isNew) await this.#keep({...this.state, alarm: {...alarm, noted: true, answer: said.answer}});
    return isNew;
  }

  /** A restore that is young enough to be shown, or null. */
  get restored() {
    const {restored} = this.state;
    return restored && this.clock.wall() - Date.parse(restored.atUtc) < SHOWN_MS ? restored : null;
  }

  /** The alarm that stands, or null; one that a lead has answered stands no longer and is still told. */
  get alarm() {
    return this.state.alarm?.answer === null ? this.state.alarm : null;
  }

  get answered() {
    return this.state.alarm?.answer ? this.state.alarm : null;
  }

  async #keep(state) {
    await this.shelf.note(NOTE, state);
    this.#state = state;
  }
}

const grew = async (kept, got, proof) =>
  Array.isArray(proof) && isConsistent(kept.size, kept.root, got.size, got.root, proof);

/**
 * The head in a signed note (C2SP tlog-checkpoint): name, size, root. The answer that brings it is signed as
 * a whole.
 */
function headIn(note) {
  const [, size, root] = note.split('\n');
  const bytes = Uint8Array.from(atob(root), character => character.charCodeAt(0));
  return {size: Number(size), root: toHex(bytes), note};
}
