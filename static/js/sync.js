/**
 * Sending what waits, and fetching news. One run at a time in this browser.
 *
 * - Reach means a signed answer to a fresh nonce, never `navigator.onLine`.
 * - Events go in the order of the chain. Only ids in a receipt whose signature is good leave the outbox;
 *   a 500, a time-out, an answer that is no JSON or a receipt by another key leave everything as it is.
 * - A server that says "later" (429) is asked again after the seconds it names, a minute at most;
 *   everything stays till then.
 * - What the server refused for good is sent again when the page has started, when the server has another
 *   version or the tablet another standing there, and else after a pause that doubles: only then may the
 *   answer be another.
 * - The lock saves work only: without it two runs would send the same events, and the server has them once.
 */
import {toBase64url} from './proof/bytes.js';
import {NotGenuine, sign, verified} from './proof/jws.js';
import {ownMachines} from './store/own_machines.js';
import {succeededBy} from './proof/succession.js';
import {protection} from './store/protection.js';

const MOST_EVENTS = 200;
const [FIRST_PAUSE_MS, LONGEST_PAUSE_MS] = [10 * 60_000, 4 * 3_600_000];
const LONGEST_WAIT_S = 60;
const REACH = 'zerokeep-reach+jws';
const RECEIPT = 'zerokeep-receipt+jws';
const REQUEST = 'zerokeep-request+jws';

/**
 * What the tablet asks of it.
 * @typedef {import('./api.js').ApiError} ApiError
 * @typedef {{state: any, run: () => unknown}} Runner
 */

export class Sync {
  /** @type {?Promise<void>} */
  #running = null;
  #again = false;
  /**
   * When what was refused is sent again: {seen: what the answer hangs on, at: forward clock, pauseMs}.
   * @type {{seen: ?string, at: number, pauseMs: number}}
   */
  #retry = {seen: null, at: 0, pauseMs: FIRST_PAUSE_MS};
  #notBefore = -Infinity;
  #told = new Set();
  /** @type {import('./api.js').Api} */
  api;
  /** @type {import('./store/outbox.js').Outbox} */
  outbox;
  /** @type {import('./store/shelf.js').Shelf} */
  shelf;
  /** @type {any} */
  device;
  /** @type {import('./clock.js').Clock} */
  clock;
  /** @type {() => Promise<string[]>} */
  setups;
  /** @type {() => Set<string>} */
  inUse;
  /** @type {import('./store/ledger.js').Ledger|undefined} */
  ledger;
  /** @type {(keys: Object) => Promise<void>} */
  keepKeys;
  /** @type {import('./store/step_pictures.js').StepPictures|undefined} */
  stepPictures;
  /** @type {LockManager|undefined} */
  locks;
  /** @type {(state: any) => void} */
  onChange;
  /** @type {typeof protection} */
  protection;

  /**
   * `parts`: api, outbox, shelf, device, clock,
   * setups() -> Promise of setup ids to ask about, inUse() -> Set of hashes (at once),
   * ledger, keepKeys(keys).
   */
  constructor(parts) {
    Object.assign(this, {locks: globalThis.navigator?.locks, onChange: () => {}, protection, ...parts});
    /** @type {any} */
    this.state = {
      reached: null,
      lastAtUtc: null,
      code: null,
      fields: {},
      shell: null,
      certificate: null,
      device: 'enrolled',
      also: [],
    };
  }

  /** Run now, or once more after the run that is under way. Never throws. */
  run() {
    if (this.#running) {
      this.#again = true;
      return this.#running;
    }
    this.#running = this.#alone().finally(() => {
      this.#running = null;
      if (this.#again) {
        this.#again = false;
        this.run();
      }
    });
    return this.#running;
  }

  async #alone() {
    if (!this.locks) return this.#once();
    return this.locks.request(`sync:${this.device.id}`, {ifAvailable: true}, lock =>
      lock ? this.#once() : undefined,
    );
  }

  async #once() {
    if (this.clock.forward() < this.#notBefore) return;
    try {
      const {challenge, epoch} = await this.#reach();
      if (await this.ledger?.restoredBy(epoch)) await this.#startAgain();
      let sent = await this.#send();
      if (await this.ledger?.look()) {
        await this.outbox.sendAgain();
        sent = (await this.#send()) || sent;
      }
      const fresh = await this.#news(challenge);
      const pictures = await this.#pictures(fresh);
      this.#tell({
        reached: true,
        lastAtUtc: this.clock.nowUtc(),
        code: null,
        changed: sent || fresh || pictures || this.state.clockMoved || this.state.reached === false,
      });
    } catch (thrown) {
      const error = /** @type {ApiError} */ (thrown);
      if (error.retryAfterS > 0)
        this.#notBefore = this.clock.forward() + 1000 * Math.min(error.retryAfterS, LONGEST_WAIT_S);
      const code = typeof error.code === 'string' ? error.code : 'api.failed';
      const {reached, code: before} = this.state;
      this.#tell({
        reached: false,
        code,
        fields: error.fields ?? {},
        changed: reached !== false || code !== before,
      });
    }
  }

  /** Pictures come behind everything else, and what keeps one away keeps nothing else away. */
  async #pictures(fresh) {
    return (await this.stepPictures?.bring(fresh).catch(() => false)) ?? false;
  }

  /** A backup was brought back: what is held here goes out again, and what was decided is asked anew. */
  async #startAgain() {
    await this.outbox.sendAgain();
    await this.shelf.forgetDecisions();
  }

  /**
   * A genuine answer to a fresh nonce. One by a key that took over from the known one is genuine when that
   * one says so.
   */
  async #reach() {
    const nonce = toBase64url(crypto.getRandomValues(new Uint8Array(18)));
    const sentAt = this.clock.wall();
    const {answer} = await this.api.post('/api/reach', {nonce});
    const reach = await verified(answer, this.device.receipt_key, REACH).catch(error => {
      if (error.code !== 'jws.other_key') throw error;
      return this.#byLaterKey(answer, error);
    });
    if (reach.domain !== 'zerokeep/reach/1' || reach.nonce !== nonce)
      throw new NotGenuine('sync.other_nonce');
    const certificate = reach.certificate ?? null;
    const renewed = certificate?.until_utc !== this.state.certificate?.until_utc;
    this.state.clockMoved = this.clock.compare(reach.at_utc, sentAt) || renewed;
    this.state.certificate = certificate;
    this.state.shell = reach.shell;
    const {pin_key: pinKey} = reach;
    if (pinKey && pinKey.kid !== this.device.pin_key?.kid) await this.keepKeys({pin_key: pinKey});
    return {challenge: reach.challenge, epoch: reach.epoch ?? null};
  }

  async #byLaterKey(answer, error) {
    const {statements} = await this.api.post('/api/keys', {});
    const key = await succeededBy(this.device.receipt_key, statements);
    if (key.kid === this.device.receipt_key.kid) throw error;
    const reach = await verified(answer, key, REACH);
    await this.keepKeys({receipt_key: key});
    return reach;
  }

  /**
   * Send all that waits, each event once a run:
   * what was not taken does not stand in the way of what comes behind it.
   */
  async #send() {
    const before = this.#retry;
    const again = await this.#refusedToRetry();
    try {
      return await this.#sendAll(again);
    } catch (error) {
      this.#retry = before; // what did not reach the server was not asked
      throw error;
    }
  }

  async #sendAll(again) {
    const tried = new Set();
    let taken = false;
    for (;;) {
      const waiting =
        again.length > 0 ? again.splice(0, MOST_EVENTS) : await this.outbox.waiting(tried.size + MOST_EVENTS);
      const rows = waiting.filter(row => !tried.has(row.id)).slice(0, MOST_EVENTS);
      if (rows.length === 0) return taken;
      for (const row of rows) tried.add(row.id);
      taken = (await this.#sendOnce(rows)) || taken;
    }
  }

  /** Send some rows and take what a genuine receipt says of them; true when the server took one. */
  async #sendOnce(rows) {
    const {receipts: told} = await this.api.post('/api/events', {
      events: rows.map(({jws, pin}) => ({jws, pin})),
    });
    const payload = await verified(told, this.device.receipt_key, RECEIPT);
    const sent = new Set(rows.map(row => row.id));
    const receipts =
      payload.domain === 'zerokeep/receipts/1'
        ? payload.receipts.filter(receipt => sent.has(receipt.event))
        : [];
    await this.outbox.acknowledge(receipts);
    await this.#giveSheetsBack(rows, receipts);
    return receipts.some(({outcome}) => outcome === 'accepted' || outcome === 'already_had');
  }

  /**
   * Sheets that the server no longer knows, and these events were made on: it knows them by their tag; then
   * all go again.
   */
  async #giveSheetsBack(rows, receipts) {
    const refused = receipts.filter(({code}) => code === 'intake.sheet_unknown');
    const unknown = new Set(refused.map(({event}) => event));
    const hashes = new Set(rows.filter(({id}) => unknown.has(id)).map(({payload}) => payload.sheet));
    let taken = false;
    for (const hash of hashes) {
      if (!this.#firstTime([hash])) continue;
      const sheet = await this.shelf.tagged(hash);
      if (sheet && (await this.api.post('/api/sheet', sheet)).taken) taken = true;
    }
    if (taken) await this.outbox.sendAgain();
    this.#again ||= taken;
  }

  /** Rows refused for good, when it is time to ask again; else none. */
  async #refusedToRetry() {
    const seen = `${this.state.shell} ${this.state.device}`;
    const now = this.clock.forward();
    const changed = seen !== this.#retry.seen;
    if (!changed && now < this.#retry.at) return [];
    const pauseMs = changed ? FIRST_PAUSE_MS : Math.min(2 * this.#retry.pauseMs, LONGEST_PAUSE_MS);
    this.#retry = {seen, at: now + pauseMs, pauseMs};
    return this.outbox.refused();
  }

  async #news(challenge) {
    const {device, shelf, clock} = this;
    const setups = await this.setups();
    const have = await shelf.hashes();
    const health = {...(await this.protection()), skew_ms: clock.skewMs};
    const known = await shelf.noted('sheets_sha256');
    const own = await ownMachines(shelf, clock.wall());
    const payload = {
      domain: 'zerokeep/request/1',
      challenge,
      have,
      setups,
      health,
      asks_which_fixture: true,
      ...(known ? {sheets_sha256: known} : {}),
      ...(own ? {own_machines: own} : {}),
      ...(await this.#notHeld()),
      ...this.ledger?.report,
    };
    const {jws} = await sign(device.privateKey, device.id, REQUEST, payload);
    const news = await this.api.post('/api/news', {request: jws});
    this.state.device = news.device?.state ?? 'enrolled';
    const sheets = news.sheets === null ? 0 : await this.#keepSheets(news);
    const decisions = await shelf.keepDecisions(news.decisions);
    this.state.also = news.also ?? [];
    const told = await this.ledger?.told(news.alarm);
    return sheets > 0 || decisions || told === true;
  }

  /**
   * Where events wait for one before them: those that this tablet no longer holds, so that nothing waits for
   * ever.
   */
  async #notHeld() {
    const waiting = await this.outbox.waiting();
    if (!waiting.some(({outcome}) => outcome?.outcome === 'kept_out_of_order')) return {};
    const notHeld = (await this.outbox.notHeld()).slice(0, MOST_EVENTS);
    this.#again ||= this.#firstTime(notHeld);
    return {not_held: notHeld};
  }

  /** Whether one of these was not told the server yet: what it does not take is not told at every turn. */
  #firstTime(ids) {
    const fresh = ids.filter(id => !this.#told.has(id));
    for (const id of fresh) this.#told.add(id);
    return fresh.length > 0;
  }

  /**
   * Keep what came, and the name of the whole list once all of it is here: the server need not list it again.
   */
  async #keepSheets(news) {
    const {shelf, clock} = this;
    const kept = await shelf.keepSheets(news.sheets, this.inUse, clock.nowUtc());
    const have = new Set(await shelf.hashes());
    const whole = news.sheets.every(({hash}) => have.has(hash));
    await shelf.note('sheets_sha256', whole ? (news.sheets_sha256 ?? null) : null);
    return kept;
  }

  #tell(state) {
    Object.assign(this.state, state);
    this.onChange(this.state);
  }
}

/**
 * Call `run` at every moment that may have brought the server back; the timer only while the page is seen.
 */
export function whenToSync(run, everyMs = 15_000) {
  for (const name of ['online', 'pageshow', 'focus']) addEventListener(name, run);
  document.addEventListener('visibilitychange', () => {
    if (document.visibilityState === 'visible') run();
  });
  setInterval(() => {
    if (document.visibilityState === 'visible') run();
  }, everyMs);
}
