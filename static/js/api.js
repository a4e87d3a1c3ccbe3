/**
 * Calls to the server. Every call has a time limit, sends the header that no foreign page can send,
 * and ends in an object or a named error: no answer in time, an answer that is no JSON, or a refusal
 * with its code and fields.
 */
/** As long as the server reads a request. */
const PHOTO_WAIT_MS = 30_000;

export class ApiError extends Error {
  /**
   * @param {string} code
   * @param {{status?: ?number, fields?: Object<string, unknown>, retryAfterS?: number,
   *   cause?: unknown}} [more]
   */
  constructor(code, {status = null, fields = {}, retryAfterS = 0, cause} = {}) {
    super(code, {cause});
    this.name = 'ApiError';
    this.code = code;
    this.status = status;
    this.fields = fields;
    this.retryAfterS = retryAfterS;
  }
}

export class Api {
  /** @param {{fetcher?: typeof fetch, waitMs?: number}} [parts] */
  constructor({fetcher = (...parts) => fetch(...parts), waitMs = 15_000} = {}) {
    this.fetcher = fetcher;
    this.waitMs = waitMs;
  }

  post(path, body) {
    return this.#send(path, JSON.stringify(body), 'application/json', this.waitMs);
  }

  /** The file of a picture behind its event; on a slow network it takes its time. */
  photo(event, bytes) {
    return this.#send(`/api/photos/${event}`, bytes, 'image/jpeg', Math.max(this.waitMs, PHOTO_WAIT_MS));
  }

  async #send(path, body, type, waitMs) {
    const response = await this.#answer(path, body, type, waitMs);
    let answer;
    try {
      answer = await response.json();
    } catch (cause) {
      throw new ApiError('api.garbled', {status: response.status, cause});
    }
    if (answer === null || typeof answer !== 'object')
      throw new ApiError('api.garbled', {status: response.status});
    if (response.ok) return answer;
    const retryAfterS = Number(response.headers.get('Retry-After')) || 0;
    throw new ApiError(answer.code ?? 'api.failed', {
      status: response.status,
      fields: answer.fields ?? {},
      retryAfterS,
    });
  }

  async #answer(path, body, type, waitMs) {
    try {
      return await this.fetcher(path, {
        method: 'POST',
        headers: {'Content-Type': type, 'X-Zerokeep': '1'},
        body,
        credentials: 'same-origin',
        cache: 'no-store',
        redirect: 'error',
        signal: AbortSignal.timeout(waitMs),
      });
    } catch (cause) {
      const late = cause instanceof DOMException && cause.name === 'TimeoutError';
      throw new ApiError(late ? 'api.no_answer_in_time' : 'api.no_answer', {cause});
    }
  }
}
