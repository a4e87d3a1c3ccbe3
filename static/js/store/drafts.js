/**
 * What stands half typed on a step, so that a reload brings it back.
 * Never evidence, and gone once the step is closed.
 */
import {asked} from './db.js';

export class Drafts {
  constructor(store) {
    this.store = store;
  }

  /** What was typed on a step: an object of the step's own making, or {}. */
  async of(setup, step) {
    const row = await this.store.read(['drafts'], tx => asked(tx.objectStore('drafts').get([setup, step])));
    return row?.typed ?? {};
  }

  keep(setup, step, typed) {
    return this.store.write(['drafts'], tx => asked(tx.objectStore('drafts').put({setup, step, typed})));
  }

  drop(setup, step) {
    return this.store.write(['drafts'], tx => asked(tx.objectStore('drafts').delete([setup, step])));
  }
}
