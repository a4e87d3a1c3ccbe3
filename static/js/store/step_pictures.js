/**
 * Pictures that steps show: {sha256, bytes}, by the hash that a sheet names. Each is fetched once, behind the
 * sheets, and stays as long as a sheet that is held names it. One that is not here is told in words.
 */
import {fromBase64url, sha256, toHex} from '../proof/bytes.js';
import {sign} from '../proof/jws.js';
import {asked} from './db.js';

const REQUEST = 'zerokeep-picture+jws';
const SHEETS = ['sheets', 'used_sheets'];
/** As a sheet's canonical text has it: names in the order of the alphabet. */
const NAMED = /"picture":\{"height":\d+,"sha256":"([0-9a-f]{64})"/g;

export class StepPictures {
  #whole = false;
  /** @type {import('./db.js').Store} */
  store;
  /** @type {import('../api.js').Api} */
  api;
  /** @type {any} */
  device;

  /** @param {{store: any, api: any, device: any}} parts */
  constructor({store, api, device}) {
    Object.assign(this, {store, api, device});
  }

  /** The bytes of a picture, or null. */
  async of(hash) {
    const row = await this.store.read(['step_pictures'], tx =>
      asked(tx.objectStore('step_pictures').get(hash)),
    );
    return row?.bytes ?? null;
  }

  /** Fetch what is not here; resolves to true when something came. `fresh`: other sheets are held now. */
  async bring(fresh) {
    if (this.#whole && !fresh) return false;
    const named = await this.#named();
    const missing = await this.#missing(named);
    let came = false;
    for (const hash of missing) came = (await this.#fetch(hash)) || came;
    this.#whole = (await this.#missing(named)).length === 0;
    return came;
  }

  async #named() {
    const rows = await this.store.read(SHEETS, tx =>
      Promise.all(SHEETS.map(name => asked(tx.objectStore(name).getAll()))),
    );
    return new Set(rows.flat().flatMap(({text}) => [...text.matchAll(NAMED)].map(([, hash]) => hash)));
  }

  /** Hashes that are named and not here; what no sheet names any more goes. */
  #missing(named) {
    return this.store.writeEvidence(['step_pictures'], async tx => {
      const table = tx.objectStore('step_pictures');
      const held = new Set(await asked(table.getAllKeys()));
      for (const hash of held) if (!named.has(hash)) await asked(table.delete(hash));
      return [...named].filter(hash => !held.has(hash));
    });
  }

  async #fetch(hash) {
    const payload = {domain: 'zerokeep/picture/1', sha256: hash};
    const {jws} = await sign(this.device.privateKey, this.device.id, REQUEST, payload);
    const bytes = fromBase64url((await this.api.post('/api/step-picture', {request: jws})).picture);
    if (toHex(await sha256(bytes)) !== hash) return false;
    await this.store.writeEvidence(['step_pictures'], tx =>
      asked(tx.objectStore('step_pictures').put({sha256: hash, bytes})),
    );
    return true;
  }
}
