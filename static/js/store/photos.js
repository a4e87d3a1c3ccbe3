/**
 * Pictures that were taken on this tablet: {event, setup, bytes, waiting, outcome}.
 *
 * - A picture is written in one strict transaction with the event that names it (outbox.js): neither is there
 *   without the other.
 * - `waiting` is 1 until the server has said, under its receipt key, what became of it.
 * - It stays as long as the events of its setup, so that it can be sent again.
 */
import {asked} from './db.js';

const WAITS = 1;

/** Inside a transaction: keep the bytes of an event that is written in it as well. */
export const keepPhoto = (tx, {id: event, setup}, bytes) =>
  asked(tx.objectStore('photos').put({event, setup, bytes, waiting: WAITS, outcome: null}));

/** Inside a transaction: have all of them sent again. */
export async function photosAgain(tx) {
  const photos = tx.objectStore('photos');
  for (const row of await asked(photos.getAll()))
    if (row.waiting !== WAITS) await asked(photos.put({...row, waiting: WAITS, outcome: null}));
}

export class Photos {
  constructor(store) {
    this.store = store;
  }

  /** One picture's row, or null. */
  async of(event) {
    return (await this.store.read(['photos'], tx => asked(tx.objectStore('photos').get(event)))) ?? null;
  }

  /** Events of the pictures that are to be sent, whose own event the server has taken. */
  waiting() {
    return this.store.read(['photos', 'events'], async tx => {
      const found = await asked(tx.objectStore('photos').index('waiting').getAllKeys());
      const rows = await Promise.all(found.map(event => asked(tx.objectStore('events').get(event))));
      return rows.filter(row => row && row.waiting === undefined).map(({id}) => id);
    });
  }

  /** Take what a genuine receipt says: kept, or refused for good. */
  settle(event, outcome) {
    return this.store.writeEvidence(['photos'], async tx => {
      const photos = tx.objectStore('photos');
      const row = await asked(photos.get(event));
      if (!row) return;
      delete row.waiting;
      await asked(photos.put({...row, outcome}));
    });
  }
}
