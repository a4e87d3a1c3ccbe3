/**
 * The key that this tablet signs with. The private half cannot be exported; losing it is a normal event: it
 * is then said, what had not been sent is listed, and a new enrolment makes a new device. Some engines refuse
 * to store a key, or store it and read back nothing, so every start reads the pair back and signs and
 * verifies with it.
 */
import {newPair, thumbprint} from '../proof/jws.js';
import {asked} from './db.js';
import {StoreError} from './errors.js';
import {CURRENT, ENROLLED, ROW, UNSIGNED, whatIsHeld} from './opening.js';

const TRIAL = 'trial';
const ES256 = {name: 'ECDSA', hash: 'SHA-256'};

/**
 * Prove that this browser keeps keys:
 * write a new pair, read it back, sign with it, take it away. Throws StoreError.
 */
export async function proveKeeping(store) {
  const pair = await newPair();
  await put(store, {name: TRIAL, ...pair});
  await check(await get(store, TRIAL));
  await store.write(['keys'], tx => asked(tx.objectStore('keys').delete(TRIAL)));
}

/**
 * The device that this tablet is: {device, lost}. `device` is null before enrolment; `lost` is true when the
 * tablet was enrolled and its key can no longer be used. `opening`: what `whatIsHeld` read, or resolves to.
 */
export async function ownDevice(store, opening = whatIsHeld(store)) {
  const {row, enrolled} = await opening;
  if (!row) return {device: null, lost: enrolled !== null};
  try {
    await check(row);
  } catch {
    return {device: null, lost: true};
  }
  return {device: row, lost: false};
}

/**
 * Keep a fresh pair with what enrolment gave back, read it back, and say that this tablet is now a device.
 * What a device before it was at is let go: the server takes no event of another device for a setup, so that
 * nobody could end it here. What that one kept stays and is sent.
 */
export async function keepDevice(store, pair, enrolment) {
  const id = await thumbprint(pair.jwk);
  const row = {name: ROW, id, ...pair, ...enrolment};
  await store.writeEvidence(['keys', 'notes'], async tx => {
    await asked(tx.objectStore('keys').put(row));
    const notes = tx.objectStore('notes');
    await asked(notes.put({name: ENROLLED, value: id}));
    for (const name of [CURRENT, UNSIGNED]) await asked(notes.delete(name));
  });
  const kept = await get(store, ROW);
  await check(kept);
  return kept;
}

/** Keep keys of the server that it changed, in place of those that this tablet knew. */
export async function keepServerKeys(store, device, keys) {
  const row = await get(store, ROW);
  await put(store, {...row, ...keys});
  return Object.assign(device, keys);
}

const get = (store, name) => store.read(['keys'], tx => asked(tx.objectStore('keys').get(name)));
const put = (store, row) => store.writeEvidence(['keys'], tx => asked(tx.objectStore('keys').put(row)));

async function check(row) {
  const {privateKey, publicKey} = row ?? {};
  if (!(privateKey instanceof CryptoKey) || !(publicKey instanceof CryptoKey))
    throw new StoreError('store.cannot_keep_keys');
  const message = crypto.getRandomValues(new Uint8Array(32));
  try {
    const signature = await crypto.subtle.sign(ES256, privateKey, message);
    if (await crypto.subtle.verify(ES256, publicKey, signature, message)) return;
  } catch (error) {
    throw new StoreError('store.cannot_keep_keys', error);
  }
  throw new StoreError('store.cannot_keep_keys');
}
