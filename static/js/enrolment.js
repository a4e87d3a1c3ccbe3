/**
 * Make this browser a device: a new pair, the code of the lead,
 * and a proof that the pair is ours (RFC 7515 over the code's hash).
 */
import {sha256Hex} from './proof/bytes.js';
import {newPair, sign, thumbprint} from './proof/jws.js';
import {keepDevice} from './store/keys.js';

const TYPE = 'zerokeep-enrol+jws';

/**
 * Resolves to the kept device row.
 * Throws ApiError when the server refuses and StoreError when nothing can be kept.
 */
export async function enrol({api, store, clock}, {code, label, display}) {
  askToStay();
  const pair = await newPair();
  const id = await thumbprint(pair.jwk);
  const {jws: proof} = await sign(pair.privateKey, id, TYPE, {
    domain: 'zerokeep/enrol/1',
    code_sha256: await sha256Hex(code),
    name: label,
  });
  const answer = await api.post('/api/enrol', {code, name: label, jwk: pair.jwk, display, proof});
  const {receipt_key: receiptKey, pin_key: pinKey, shop} = answer;
  return keepDevice(store, pair, {
    label,
    display,
    receipt_key: receiptKey,
    pin_key: pinKey,
    shop,
    enrolled_at_utc: clock.nowUtc(),
  });
}

/**
 * Ask for protected storage while the finger is still on the button;
 * never waited for: some browsers do not answer.
 */
function askToStay() {
  navigator.storage?.persist?.().catch(() => {});
}
