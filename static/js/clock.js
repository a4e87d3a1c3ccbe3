/**
 * The tablet's two clocks: the wall clock, which may be wrong, and the one that only runs forward. Nothing is ever put in
 * order by the wall clock; where it differs from the server's by more than two minutes, the page says so.
 */
const SKEW_TO_SAY_MS = 120_000;

export class Clock {
  constructor({wall = () => Date.now(), forward = () => performance.now()} = {}) {
    Object.assign(this, {wall, forward, skewMs: 0});
  }

  /** Wall clock as "2026-11-25T08:03:12.345Z". */
  nowUtc() {
    return new Date(this.wall()).toISOString();
  }

  /** Note the server's time of an answer to a request that was sent at `sentAt` (wall clock, ms). */
  compare(serverAtUtc, sentAt) {
    const middle = sentAt + (this.wall() - sentAt) / 2;
    const server = Date.parse(serverAtUtc);
    if (Number.isFinite(server)) this.skewMs = Math.round(middle - server);
  }

  get isWrong() {
    return Math.abs(this.skewMs) > SKEW_TO_SAY_MS;
  }

  /** Milliseconds from a time in the past; never negative, because a clock may have been put back. */
  sinceMs(atUtc) {
    return Math.max(0, Math.round(this.wall() - Date.parse(atUtc)));
  }
}
