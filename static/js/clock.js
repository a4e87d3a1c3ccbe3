/**
 * The tablet's two clocks: the wall clock, which may be wrong, and the one that only runs forward.
 * Nothing is ever put in order by the wall clock; where it differs from the server's by more than two
 * minutes, the page says so.
 *
 * Events carry the wall clock as it is. Whether a sheet or an authorisation still holds is asked of the
 * server's time as well as it is known here: `basis` says by what. 'server': compared since the page was
 * opened. 'memory': compared earlier, and the wall clock may have been set since. 'own': never compared. The
 * forward clock stands still while some tablets sleep: it says how much time has passed at least, and where
 * the wall clock says more, the tablet slept or its clock was set.
 *
 * Decision: ages are told by the server's time. What a slot holds has the time of the server's receipt,
 * because the tablet's own cannot be checked and was the greater risk; an offline tablet's values, sent late,
 * so count as seen late. A slot that was left half set stays marked until a setup that is known to be later,
 * by its tablet's chain or by when its sheet was compiled. A clock put back refuses to begin.
 */
const SKEW_TO_SAY_MS = 120_000;
/** No tablet in use is out of reach for this long: what its clock says then is to be looked at. */
const FAR_AHEAD_MS = 14 * 86_400_000;

export class Clock {
  /** @type {?number} */
  #serverAtMs = null;
  /** @type {?number} */
  #comparedAt = null;
  #basis = 'own';

  constructor({wall = () => Date.now(), forward = () => performance.now()} = {}) {
    this.wall = wall;
    this.forward = forward;
    /** @type {?number} */
    this.skewMs = null;
  }

  get basis() {
    return this.#basis === 'server' && this.#toldMs() - this.#leastMs() > SKEW_TO_SAY_MS
      ? 'memory'
      : this.#basis;
  }

  /** Wall clock as "2026-11-25T08:03:12.345Z". */
  nowUtc() {
    return new Date(this.wall()).toISOString();
  }

  /** Take up what was noted of the last comparison ({skew_ms, server_at_utc} or null). */
  remember(note) {
    if (note) this.#set(note.skew_ms, Date.parse(note.server_at_utc), 'memory');
  }

  /** What to note for the next start. */
  get toRemember() {
    return {skew_ms: this.skewMs, server_at_utc: this.comparedAtUtc};
  }

  /**
   * Note the server's time of an answer to a request that was sent at `sentAt` (wall clock, ms).
   * True when what is said of times changes by it: another basis, or another skew by more than two minutes.
   */
  compare(serverAtUtc, sentAt) {
    const middle = sentAt + (this.wall() - sentAt) / 2;
    const server = Date.parse(serverAtUtc);
    if (!Number.isFinite(server)) return false;
    const {skewMs, basis} = this;
    const found = Math.round(middle - server);
    this.#set(found, server, 'server');
    return basis !== 'server' || Math.abs(found - (skewMs ?? 0)) > SKEW_TO_SAY_MS;
  }

  #set(skewMs, serverAtMs, basis) {
    this.#serverAtMs = serverAtMs;
    this.#basis = basis;
    this.#comparedAt = basis === 'server' ? this.forward() : null;
    this.skewMs = skewMs;
  }

  get isWrong() {
    return Math.abs(this.skewMs ?? 0) > SKEW_TO_SAY_MS;
  }

  /** The server's time at the last comparison, or null. */
  get comparedAtUtc() {
    return this.#serverAtMs === null ? null : new Date(this.#serverAtMs).toISOString();
  }

  /** The server's time now, as well as it is known here. */
  trueUtc() {
    return new Date(this.#trueMs()).toISOString();
  }

  /** Whether the wall clock was put back since the last comparison: then no age can be told. */
  get wentBack() {
    return this.#serverAtMs !== null && this.#toldMs() < this.#serverAtMs - SKEW_TO_SAY_MS;
  }

  /**
   * Whether the wall clock says that the server was not reached for so long that the date itself may be
   * wrong: sheets and authorisations then look as if they had ended.
   */
  get isFarAhead() {
    return (
      this.#serverAtMs !== null &&
      this.#basis !== 'server' &&
      this.#toldMs() - this.#serverAtMs > FAR_AHEAD_MS
    );
  }

  /** Whether the date and the time set on this tablet are to be looked at, as far as it can tell. */
  get isDoubtful() {
    return this.isWrong || this.wentBack || this.isFarAhead;
  }

  /** Milliseconds since a time of the server's; never negative. */
  ageMs(atUtc) {
    return Math.max(0, Math.round(this.#trueMs() - Date.parse(atUtc)));
  }

  #trueMs() {
    return Math.max(this.#toldMs(), this.#leastMs());
  }

  /** The server's time by the wall clock. */
  #toldMs() {
    return this.wall() - (this.skewMs ?? 0);
  }

  /** What it is at least, by the forward clock since the comparison. */
  #leastMs() {
    if (this.#comparedAt === null || this.#serverAtMs === null) return -Infinity;
    return this.#serverAtMs + this.forward() - this.#comparedAt;
  }

  /**
   * Milliseconds from a time of this tablet's own in the past;
   * never negative, because a clock may have been put back.
   */
  sinceMs(atUtc) {
    return Math.max(0, Math.round(this.wall() - Date.parse(atUtc)));
  }
}
