/**
 * Sheets, decisions and small notes that this tablet holds.
 * A sheet is kept only if its text has the hash it came under.
 */
import {sha256Hex} from '../proof/bytes.js';
import {placeOf} from '../rules/shop/fixtures.js';
import {asked} from './db.js';

export class Shelf {
  constructor(store) {
    this.store = store;
  }

  /**
   * Keep the sheets that came with their text and still are current; those in `inUse()` stay.
   * It is asked inside the transaction: a setup that begins meanwhile finds its sheet gone, or it stays.
   */
  async keepSheets(sheets, inUse, gotAtUtc) {
    const genuine = [];
    for (const {hash, text, tag} of sheets) {
      if (text !== null && (await sha256Hex(text)) === hash)
        genuine.push({hash, machine: JSON.parse(text).machine.id, text, tag, got_at_utc: gotAtUtc});
    }
    const current = new Set(sheets.map(sheet => sheet.hash));
    await this.store.writeEvidence(['sheets', 'notes'], async tx => {
      const table = tx.objectStore('sheets');
      for (const row of genuine) await asked(table.put(row));
      for (const hash of await asked(table.getAllKeys())) {
        if (!current.has(hash) && !inUse().has(hash)) await asked(table.delete(hash));
      }
      await asked(tx.objectStore('notes').put({name: 'current_sheets', value: [...current]}));
    });
    return genuine.length;
  }

  async hashes() {
    return this.store.read(['sheets'], tx => asked(tx.objectStore('sheets').getAllKeys()));
  }

  /**
   * Whether this sheet is held and among those of now: one that a setup was begun on is held for longer.
   */
  isCurrent(hash) {
    return this.store.read(['notes', 'sheets'], async tx => {
      const [note, held] = await Promise.all([
        asked(tx.objectStore('notes').get('current_sheets')),
        asked(tx.objectStore('sheets').getKey(hash)),
      ]);
      return held !== undefined && (note?.value ?? []).includes(hash);
    });
  }

  /** The sheet under this hash, parsed, or null. */
  async sheet(hash) {
    const row = await this.store.read(['sheets'], tx => asked(tx.objectStore('sheets').get(hash)));
    return row ? JSON.parse(row.text) : null;
  }

  /**
   * A sheet that a setup was begun on, with what shows the server that it is its own: {text, tag}, or null.
   */
  async tagged(hash) {
    const row = await this.store.read(['used_sheets'], tx => asked(tx.objectStore('used_sheets').get(hash)));
    return row ? {text: row.text, tag: row.tag} : null;
  }

  /**
   * Hold a sheet that a setup begins on for as long as its events; one that came without its tag cannot be
   * given back.
   */
  keepUsed(hash) {
    return this.store.writeEvidence(['sheets', 'used_sheets'], async tx => {
      const row = await asked(tx.objectStore('sheets').get(hash));
      if (row?.tag) await asked(tx.objectStore('used_sheets').put({hash, text: row.text, tag: row.tag}));
    });
  }

  /** Let go of the decisions about these setups: what the ledger says of them comes anew. */
  forgetDecisions() {
    return this.store.writeEvidence(['decisions'], tx => asked(tx.objectStore('decisions').clear()));
  }

  /**
   * Newest sheet of every fixture on every machine: [{hash, sheet}], by the machine's name, its fixtures
   * as they are offered.
   */
  async newest() {
    const [note, rows] = await this.store.read(['notes', 'sheets'], tx =>
      Promise.all([
        asked(tx.objectStore('notes').get('current_sheets')),
        asked(tx.objectStore('sheets').getAll()),
      ]),
    );
    const current = new Set(note?.value ?? []);
    return rows
      .filter(row => current.has(row.hash))
      .map(row => ({hash: row.hash, sheet: JSON.parse(row.text)}))
      .sort(
        (one, other) =>
          one.sheet.machine.name.localeCompare(other.sheet.machine.name) ||
          one.sheet.machine.id.localeCompare(other.sheet.machine.id) ||
          placeOf(one.sheet) - placeOf(other.sheet),
      );
  }

  /**
   * Put decisions beside their setups; [texts], each canonical JSON. Resolves to true when something is new.
   */
  async keepDecisions(texts) {
    const bySetup = grouped(texts);
    return this.store.writeEvidence(['decisions'], async tx => {
      const table = tx.objectStore('decisions');
      let anything = false;
      for (const [setup, all] of bySetup) {
        const had = (await asked(table.get(setup)))?.texts ?? [];
        const fresh = all.filter(text => !had.includes(text));
        if (fresh.length === 0) continue;
        anything = true;
        await asked(table.put({setup, texts: [...had, ...fresh]}));
      }
      return anything;
    });
  }

  async decisions(setup) {
    const row = await this.store.read(['decisions'], tx => asked(tx.objectStore('decisions').get(setup)));
    return (row?.texts ?? []).map(text => JSON.parse(text));
  }

  async noted(name) {
    return (await this.store.read(['notes'], tx => asked(tx.objectStore('notes').get(name))))?.value;
  }

  note(name, value) {
    return this.store.writeEvidence(['notes'], tx => asked(tx.objectStore('notes').put({name, value})));
  }
}

function grouped(texts) {
  const groups = new Map();
  for (const text of texts) {
    const {setup} = JSON.parse(text);
    groups.set(setup, [...(groups.get(setup) ?? []), text]);
  }
  return groups;
}
