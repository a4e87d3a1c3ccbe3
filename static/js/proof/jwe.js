/**
 * Sealing a PIN for the server: compact JWE, ECDH-ES direct with A256GCM (RFC 7516; RFC 7518, sections 4.6
 * and 5.3). The seal names the event, the device and the person in its protected header, which GCM
 * authenticates: a seal moved to another event does not open. A new key pair is made for every seal, so the
 * same PIN never looks the same twice.
 */
import {joined, sha256, toBase64url, utf8} from './bytes.js';
import {sign} from './jws.js';

const ECDH = {name: 'ECDH', namedCurve: 'P-256'};

/**
 * Seal `pin` for `pinKey` (public JWK with kid), bound to {event, device, person}.
 * Resolves to the compact JWE.
 */
export async function sealPin(pin, pinKey, bound) {
  const pair = await crypto.subtle.generateKey(ECDH, false, ['deriveBits']);
  const {kty, crv, x, y} = await crypto.subtle.exportKey('jwk', pair.publicKey);
  const header = {
    alg: 'ECDH-ES',
    enc: 'A256GCM',
    typ: 'zerokeep-pin+jwe',
    kid: pinKey.kid,
    epk: {kty, crv, x, y},
    ...bound,
  };
  const protectedHeader = toBase64url(utf8(JSON.stringify(header)));
  const secret = await agreed(pair.privateKey, pinKey);
  const contentKey = await concatKdf(secret, 'A256GCM', 256);
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const sealed = await encrypted(contentKey, iv, utf8(protectedHeader), utf8(pin));
  return [
    protectedHeader,
    '',
    toBase64url(iv),
    toBase64url(sealed.slice(0, -16)),
    toBase64url(sealed.slice(-16)),
  ].join('.');
}

/**
 * The same with this tablet's signature around it, so that nobody else can put a guess beside a copied event.
 * `device` is {id, privateKey, pin_key}. Resolves to a compact JWS.
 */
export async function signedSeal(pin, device, bound) {
  const seal = await sealPin(pin, device.pin_key, {...bound, device: device.id});
  const payload = {domain: 'zerokeep/pin-seal/1', seal};
  return (await sign(device.privateKey, device.id, 'zerokeep-pin+jws', payload)).jws;
}

/** The shared secret Z of a private key and another's public JWK: 32 bytes. */
export async function agreed(privateKey, {kty, crv, x, y}) {
  const other = await crypto.subtle.importKey('jwk', {kty, crv, x, y}, ECDH, false, []);
  return new Uint8Array(await crypto.subtle.deriveBits({name: 'ECDH', public: other}, privateKey, 256));
}

/**
 * Concat KDF (NIST SP 800-56A, 5.8.1, as RFC 7518, 4.6.2 uses it) with SHA-256, one round:
 * keys up to 256 bits. `partyU` and `partyV` are the bytes of apu and apv, empty when absent.
 */
export async function concatKdf(
  secret,
  algorithm,
  bits,
  partyU = new Uint8Array(),
  partyV = new Uint8Array(),
) {
  const whole = joined(
    uint32(1),
    secret,
    counted(utf8(algorithm)),
    counted(partyU),
    counted(partyV),
    uint32(bits),
  );
  return (await sha256(whole)).slice(0, bits / 8);
}

const counted = bytes => joined(uint32(bytes.length), bytes);

function uint32(value) {
  const bytes = new Uint8Array(4);
  new DataView(bytes.buffer).setUint32(0, value);
  return bytes;
}

async function encrypted(rawKey, iv, additionalData, plain) {
  const key = await crypto.subtle.importKey('raw', rawKey, 'AES-GCM', false, ['encrypt']);
  return new Uint8Array(
    await crypto.subtle.encrypt({name: 'AES-GCM', iv, additionalData, tagLength: 128}, key, plain),
  );
}
