/**
 * The one door to IndexedDB. Three things are kept here and nowhere else:
 * - evidence is written with `durability:
 *   'strict'` and counts as kept only after the transaction's `complete`;
 * - opening has a time limit and a number of tries (it can hang for ever in one engine's first load);
 * - a handle that died is dropped, opened again and the work done once more; if that fails too, a named error
 *   is thrown and `onState` hears of it, so that the page can say in plain words that nothing is being kept.
 */
import {handleIsGone, named, StoreError} from './errors.js';
import {upgrade, VERSION} from './schema.js';

export class Store {
  /** @type {?IDBDatabase} */
  #handle = null;
  /** @type {?Promise<IDBDatabase>} */
  #opening = null;
  /** @type {string} */
  name;
  /** @type {IDBFactory} */
  factory;
  /** @type {number} */
  version;
  /** @type {number} */
  waitMs;
  /** @type {number} */
  tries;
  /** @type {(state: string, error?: Error) => void} */
  onState;

  /**
   * @param {{name?: string, factory?: IDBFactory, version?: number, waitMs?: number, tries?: number,
   *   onState?: (state: string, error?: Error) => void}} [how]
   */
  constructor({
    name = 'zerokeep',
    factory = globalThis.indexedDB,
    version = VERSION,
    waitMs = 4000,
    tries = 3,
    onState = () => {},
  } = {}) {
    Object.assign(this, {name, factory, version, waitMs, tries, onState});
  }

  /** Do `work(transaction)` reading; resolves to what it returned. */
  read(stores, work) {
    return this.#run(stores, 'readonly', {}, work);
  }

  /** Write what may be lost with the battery: drafts and notes. */
  write(stores, work) {
    return this.#run(stores, 'readwrite', {}, work);
  }

  /** Write evidence: resolves only once the transaction is complete and the browser was asked to flush it. */
  writeEvidence(stores, work) {
    return this.#run(stores, 'readwrite', {durability: 'strict'}, work);
  }

  close() {
    this.#handle?.close();
    this.#handle = null;
  }

  async #run(stores, mode, options, work) {
    try {
      return await this.#once(stores, mode, options, work);
    } catch (error) {
      if (!handleIsGone(error)) throw this.#told(named(error));
      this.close();
    }
    try {
      return await this.#once(stores, mode, options, work);
    } catch (error) {
      throw this.#told(named(error));
    }
  }

  async #once(stores, mode, options, work) {
    const database = await this.#database();
    const transaction = database.transaction(stores, mode, options);
    const complete = new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onabort = () => reject(transaction.error ?? new StoreError('store.lost'));
    });
    complete.catch(() => {});
    let answer;
    try {
      answer = await work(transaction);
    } catch (error) {
      try {
        transaction.abort();
      } catch {
        /* it is over already */
      }
      throw error;
    }
    await complete;
    return answer;
  }

  /** @returns {Promise<IDBDatabase>} */
  async #database() {
    if (this.#handle) return this.#handle;
    const opening = (this.#opening ??= this.#opened().finally(() => {
      this.#opening = null;
    }));
    return opening;
  }

  async #opened() {
    let last;
    for (let attempt = 0; attempt < this.tries; attempt += 1) {
      try {
        const handle = await this.#attempt();
        this.#handle = handle;
        this.onState('open');
        return handle;
      } catch (error) {
        last = error;
        if (error instanceof DOMException && error.name === 'VersionError') break;
      }
    }
    throw named(last);
  }

  /** @returns {Promise<IDBDatabase>} */
  #attempt() {
    return new Promise((resolve, reject) => {
      let over = false;
      const request = this.factory.open(this.name, this.version);
      const limit = setTimeout(() => {
        over = true;
        reject(new StoreError('store.no_answer'));
      }, this.waitMs);
      request.onupgradeneeded = event => upgrade(request.result, event.oldVersion);
      request.onblocked = () => this.onState('blocked');
      request.onerror = () => {
        clearTimeout(limit);
        reject(request.error);
      };
      request.onsuccess = () => {
        clearTimeout(limit);
        if (over) request.result.close();
        else resolve(this.#watched(request.result));
      };
    });
  }

  #watched(database) {
    const dropped = state => {
      if (this.#handle === database) this.#handle = null;
      this.onState(state);
    };
    database.onversionchange = () => {
      database.close();
      dropped('newer');
    };
    database.onclose = () => dropped('closed');
    return database;
  }

  #told(error) {
    this.onState('failed', error);
    return error;
  }
}

/** A request of IndexedDB as a promise. */
export const asked = request =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = event => {
      event.preventDefault();
      reject(request.error);
    };
  });
