/**
 * Whether the browser may clear away what this tablet holds, and how much room there is.
 * Some browsers never answer.
 */
const ANSWER_WITHIN_MS = 1000;

/**
 * {persisted: true, false or null for unknown, usage_bytes, quota_bytes:
 * whole numbers or null}. Never throws.
 */
export async function protection(storage = globalThis.navigator?.storage, waitMs = ANSWER_WITHIN_MS) {
  const [persisted, room] = await Promise.all([
    answered(storage?.persisted?.(), waitMs),
    answered(storage?.estimate?.(), waitMs),
  ]);
  return {
    persisted: typeof persisted === 'boolean' ? persisted : null,
    usage_bytes: whole(room?.usage),
    quota_bytes: whole(room?.quota),
  };
}

const answered = (asking, waitMs) =>
  Promise.race([
    Promise.resolve(asking).catch(() => null),
    new Promise(resolve => {
      setTimeout(() => resolve(null), waitMs);
    }),
  ]);

const whole = number =>
  Number.isFinite(number) && number >= 0 && number <= Number.MAX_SAFE_INTEGER ? Math.floor(number) : null;
