/**
 * What a tablet may forget: a setup that is over and whose end is known here.
 * Then the server has all of it, and nobody at the machine needs it any more.
 *
 * - No event of it is unsent or refused, no picture of it unsent, it is not the running one,
 *   and its newest event is more than thirty days old:
 *   so long it can be sent again, should the server have to go back to a backup.
 * - The lead's decision is here: signed off behind a signature that was verified, or not accepted.
 *   Or it was left before anything was done: then there is nothing to decide.
 * - The chain goes on: its head lies in a table of its own, which is never touched.
 *
 * Decision: a tablet keeps sheets (names, slots, limits), the events of its setups and its key, so that a
 * setup survives the night without a network; whoever holds the unlocked tablet can read them. The key cannot
 * be exported. This departs from OWASP ASVS 14.3.3 on purpose.
 */
import {asked} from './db.js';
import {CURRENT, MINE} from './opening.js';

const KEPT_MS = 30 * 24 * 3_600_000;
const STORES = ['events', 'photos', 'decisions', 'drafts', 'sheets', 'used_sheets', 'notes'];

/**
 * Forget all that may go, in one strict transaction; resolves to the ids of the setups that went.
 * `nowMs`: wall clock of the tablet; `inUse()`: hashes of sheets that stay whatever refers to them.
 */
export function forgetClosed(store, nowMs, inUse) {
  return store.writeEvidence(STORES, async tx => {
    const note = name => asked(tx.objectStore('notes').get(name)).then(row => row?.value);
    const [current, mine, newest] = await Promise.all([note(CURRENT), note(MINE), note('current_sheets')]);
    const gone = [];
    const used = new Set([...inUse(), ...(newest ?? [])]);
    for (const setup of await setupsOf(tx)) {
      const rows = await asked(tx.objectStore('events').index('setup').getAll(of(setup)));
      if (
        setup !== current &&
        !(await photosOf(tx, setup)).some(({waiting}) => waiting !== undefined) &&
        mayGo(rows, (await asked(tx.objectStore('decisions').get(setup)))?.texts ?? [], nowMs)
      )
        gone.push({setup, rows});
      else used.add(rows[0].payload.sheet);
    }
    for (const each of gone) await forget(tx, each, used);
    const ids = new Set(gone.map(({setup}) => setup));
    if (ids.size > 0)
      await asked(tx.objectStore('notes').put({name: MINE, value: (mine ?? []).filter(id => !ids.has(id))}));
    return [...ids];
  });
}

const of = setup => IDBKeyRange.bound([setup], [setup, []]);

const photosOf = (tx, setup) => asked(tx.objectStore('photos').index('setup').getAll(setup));

/** Every setup that there are events of; the cursor jumps from one to the next. */
function setupsOf(tx) {
  return new Promise((resolve, reject) => {
    const found = [];
    const request = tx.objectStore('events').index('setup').openKeyCursor();
    request.onerror = () => reject(request.error);
    request.onsuccess = () => {
      const cursor = request.result;
      if (!cursor) return resolve(found);
      found.push(cursor.key[0]);
      return cursor.continue([cursor.key[0], []]);
    };
  });
}

function mayGo(rows, texts, nowMs) {
  const newest = Math.max(...rows.map(({payload}) => Date.parse(payload.at_utc)));
  if (!(nowMs - newest > KEPT_MS) || rows.some(({waiting}) => waiting !== undefined)) return false;
  if (rows.some(({payload}) => payload.type === 'setup.left')) return true;
  const types = new Set(texts.map(text => JSON.parse(text).type));
  return (
    types.has('setup.not_accepted') || (types.has('setup.signed_off') && types.has('signature.verified'))
  );
}

async function forget(tx, {setup, rows}, used) {
  for (const {id} of rows) {
    await asked(tx.objectStore('events').delete(id));
    await asked(tx.objectStore('photos').delete(id));
  }
  await asked(tx.objectStore('decisions').delete(setup));
  await asked(tx.objectStore('drafts').delete(of(setup)));
  const {sheet} = rows[0].payload;
  if (used.has(sheet)) return;
  for (const name of ['sheets', 'used_sheets']) await asked(tx.objectStore(name).delete(sheet));
}
