/**
 * Events of this tablet: signed, chained and kept before anything is shown as done.
 *
 * - Event and chain head are written in one strict transaction. The head is looked at again inside it: a
 *   second tab that wrote meanwhile makes this write fail (`store.chain_moved`), and the unique index on
 *   (device, sequence) holds even where two tabs looked at the same moment.
 * - An event leaves the outbox only by `acknowledge`, which sync.js calls for ids in a receipt it has
 *   verified. Nothing expires, nothing is given up. What the server refused for good stands apart: sending it
 *   at every turn changes nothing.
 */
import {sign} from '../proof/jws.js';
import {asked} from './db.js';
import {StoreError} from './errors.js';
import {keepPhoto, photosAgain} from './photos.js';

export const EVENT_TYPE = 'zerokeep-event+jws';
export const EVENT_DOMAIN = 'zerokeep/event/1';
const [WAITS, REFUSED] = [1, 2];
/** Refusals that pass by themselves, as soon as what stands before the event is taken. */
const FOR_NOW = new Set(['chain.too_many_waiting']);
const taken = ({outcome}) => outcome === 'accepted' || outcome === 'already_had';
const all = mark => IDBKeyRange.bound([mark], [mark, []]);

/** @type {(event: string) => Promise<?string>} */
const noSeal = async () => null;

export class Outbox {
  /** @type {Promise<any>} */
  #last = Promise.resolve();
  /** @type {import('./db.js').Store} */
  store;
  /** @type {any} this tablet's own id and key, null before it is enrolled */
  device;
  /**
   * Where the chain stood after our own last write; null: read it.
   * The write looks again, so a stale one only fails.
   */
  #known;

  /** `chain`: where the chain stood when the start read it, or null. */
  constructor(store, device, chain = null) {
    Object.assign(this, {store, device});
    this.#known = chain;
  }

  /**
   * Keep one event. `body` has type, setup, sheet, app, person, at_utc, elapsed_ms, step and data;
   * `seal(id)` may resolve to a PIN seal that travels beside it; `picture` are the bytes of one that the
   * event names. Resolves to the kept row after the transaction is complete.
   * @param {Object<string, any>} body
   * @param {(event: string) => Promise<?string>} [seal]
   * @param {?Uint8Array} [picture]
   */
  append(body, seal = noSeal, picture = null) {
    const turn = this.#last.then(() => this.#append(body, seal, picture));
    this.#last = turn.catch(() => {});
    return turn;
  }

  async #append(body, seal, picture) {
    const {id: device, privateKey} = this.device;
    const chain =
      this.#known ?? (await this.store.read(['chain'], tx => asked(tx.objectStore('chain').get(device))));
    this.#known = null;
    const sequence = (chain?.sequence ?? 0) + 1;
    const previous = chain?.head ?? null;
    const {type, ...rest} = body;
    const payload = {domain: EVENT_DOMAIN, type, device, sequence, previous, ...rest};
    const {jws, id} = await sign(privateKey, device, EVENT_TYPE, payload);
    const row = {
      id,
      device,
      sequence,
      setup: payload.setup,
      payload,
      jws,
      pin: await seal(id),
      waiting: WAITS,
      outcome: null,
    };
    const stores = picture ? ['events', 'chain', 'photos'] : ['events', 'chain'];
    await this.store.writeEvidence(stores, tx => this.#put(tx, row, picture));
    this.#known = {sequence, head: id};
    return row;
  }

  async #put(tx, row, picture) {
    const [events, chains] = [tx.objectStore('events'), tx.objectStore('chain')];
    const [kept, chain] = await Promise.all([asked(events.getKey(row.id)), asked(chains.get(row.device))]);
    if (kept) return;
    if ((chain?.head ?? null) !== row.payload.previous) throw new StoreError('store.chain_moved');
    const written = [
      asked(events.add(row)),
      asked(chains.put({device: row.device, sequence: row.sequence, head: row.id})),
    ];
    if (picture) written.push(keepPhoto(tx, row, picture));
    await Promise.all(written);
  }

  /**
   * Have all that this tablet still holds sent again, since the server may have lost it: the server has each
   * event once. PIN seals were erased when they were checked; where the server lost that as well, it asks for
   * the signature again.
   */
  sendAgain() {
    return this.store.writeEvidence(['events', 'photos'], async tx => {
      await photosAgain(tx);
      const events = tx.objectStore('events');
      for (const row of await asked(events.getAll())) {
        if (row.waiting === WAITS) continue;
        row.waiting = WAITS;
        row.outcome = null;
        await asked(events.put(row));
      }
    });
  }

  /** Ids that kept events name as the one before and that this tablet no longer holds. */
  async notHeld() {
    const rows = await this.store.read(['events'], tx => asked(tx.objectStore('events').getAll()));
    const held = new Set(rows.map(({id}) => id));
    return rows.map(({payload}) => payload.previous).filter(id => id !== null && !held.has(id));
  }

  /** All rows of one setup, in the order of the chain. */
  ofSetup(setup) {
    const range = IDBKeyRange.bound([setup], [setup, []]);
    return this.store.read(['events'], tx => asked(tx.objectStore('events').index('setup').getAll(range)));
  }

  /**
   * Rows still without a verified receipt, in the order they go out;
   * those refused for good are not among them.
   */
  waiting(most) {
    return this.store.read(['events'], tx =>
      asked(tx.objectStore('events').index('waiting').getAll(all(WAITS), most)),
    );
  }

  /** Rows that the server refused for good, in the order of the chain. */
  refused() {
    return this.store.read(['events'], tx =>
      asked(tx.objectStore('events').index('waiting').getAll(all(REFUSED))),
    );
  }

  /**
   * {count, oldestAtUtc, refused, photos}: what the network line says; `count` is all that the server has not
   * taken, `photos` the pictures that it has not answered about.
   */
  async tally() {
    return this.store.read(['events', 'photos'], async tx => {
      const index = tx.objectStore('events').index('waiting');
      const [count, refused, photos] = await Promise.all([
        asked(index.count()),
        asked(index.count(all(REFUSED))),
        asked(tx.objectStore('photos').index('waiting').count()),
      ]);
      const oldest = count > 0 ? await asked(index.get(count > refused ? all(WAITS) : all(REFUSED))) : null;
      return {count, refused, photos, oldestAtUtc: oldest?.payload.at_utc ?? null};
    });
  }

  /**
   * Take the outcomes of a verified receipt. Accepted and already-had events leave the outbox
   * and their PIN seal is erased; any other outcome is written beside the event, which stays.
   */
  acknowledge(receipts) {
    return this.store.writeEvidence(['events'], async tx => {
      const events = tx.objectStore('events');
      for (const receipt of receipts) {
        const row = await asked(events.get(receipt.event));
        if (!row) continue;
        row.outcome = receipt;
        if (taken(receipt)) {
          delete row.waiting;
          row.pin = null;
        } else {
          row.waiting = receipt.outcome === 'refused' && !FOR_NOW.has(receipt.code) ? REFUSED : WAITS;
        }
        await asked(events.put(row));
      }
    });
  }
}
