/**
 * All that a start needs, read in one transaction: who this tablet is and where its person was. A slow
 * tablet pays for each transaction far more than for what it reads, and a start once took nine of them.
 */
import {asked} from './db.js';

export const ROW = 'device';
export const ENROLLED = 'enrolled';
export const CURRENT = 'current_setup';
export const MINE = 'my_setups';
export const CLOCK = 'clock';
/**
 * Setups that wait on this tablet, finished for their signer or `open` for the person who goes on:
 * [{id, sheet, name, machine, slot, open?, at?}], `at` the machine's id.
 */
export const UNSIGNED = 'unsigned_setups';
const STORES = ['keys', 'notes', 'chain', 'events', 'sheets', 'decisions', 'drafts'];

/**
 * {row, enrolled, clock, chain, held}: the kept key row, the notes of enrolment and of the clock's last
 * comparison, and where the chain stands, each null where there is none; `held` is the setup that was running
 * when the page went away, {id, rows, sheet, decisions, drafts}, or null.
 */
export function whatIsHeld(store) {
  return store.read(STORES, async tx => {
    const noted = name => asked(tx.objectStore('notes').get(name)).then(found => found?.value ?? null);
    const [row, chains, enrolled, clock, unsigned, id] = await Promise.all([
      asked(tx.objectStore('keys').get(ROW)),
      asked(tx.objectStore('chain').getAll()),
      noted(ENROLLED),
      noted(CLOCK),
      noted(UNSIGNED),
      noted(CURRENT),
    ]);
    const chain = chains.find(({device}) => device === row?.id) ?? null;
    return {
      row: row ?? null,
      enrolled,
      clock,
      unsigned: unsigned ?? [],
      chain,
      held: id ? await setupOf(tx, id) : null,
    };
  });
}

/** One setup that this tablet holds: {id, rows, sheet, decisions, drafts}, or null. */
export const heldSetup = (store, id) => store.read(STORES, tx => setupOf(tx, id));

async function setupOf(tx, id) {
  const all = IDBKeyRange.bound([id], [id, []]);
  const [rows, decisions, drafts] = await Promise.all([
    asked(tx.objectStore('events').index('setup').getAll(all)),
    asked(tx.objectStore('decisions').get(id)),
    asked(tx.objectStore('drafts').getAll(all)),
  ]);
  const sheet = rows.length > 0 ? await asked(tx.objectStore('sheets').get(rows[0].payload.sheet)) : null;
  return sheet ? {id, rows, sheet, decisions: decisions?.texts ?? [], drafts} : null;
}
