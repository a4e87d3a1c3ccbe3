/**
 * Compact JWS with ES256 (RFC 7515; RFC 7518, section 3.4: the signature is r then s, 64 bytes) and key
 * thumbprints (RFC 7638). The id of what is signed is SHA-256 over the signing input, never over the
 * signature: an ECDSA signature can be turned into a second valid one.
 */
import {fromBase64url, sha256, sha256Hex, text, toBase64url, utf8} from './bytes.js';

const ES256 = {name: 'ECDSA', hash: 'SHA-256'};
const P256 = {name: 'ECDSA', namedCurve: 'P-256'};

export class NotGenuine extends Error {
  constructor(code) {
    super(code);
    this.name = 'NotGenuine';
    this.code = code;
  }
}

/**
 * Sign `payload` as it is written by JSON.stringify.
 * Resolves to {jws, id}: the compact form and its event id.
 */
export async function sign(privateKey, kid, typ, payload) {
  const coded = part => toBase64url(utf8(JSON.stringify(part)));
  const input = `${coded({alg: 'ES256', kid, typ})}.${coded(payload)}`;
  const [signature, id] = await Promise.all([
    crypto.subtle.sign(ES256, privateKey, utf8(input)),
    sha256Hex(input),
  ]);
  return {jws: `${input}.${toBase64url(signature)}`, id};
}

/**
 * The payload of a JWS, once its signature, its `typ` and its key id are the expected ones.
 * Throws NotGenuine with a code; never returns anything unverified.
 */
export async function verified(jws, publicJwk, typ) {
  const parts = typeof jws === 'string' ? jws.split('.') : [];
  if (parts.length !== 3) throw new NotGenuine('jws.not_compact');
  const header = parsed(parts[0]);
  if (header.alg !== 'ES256' || header.typ !== typ || header.crit !== undefined)
    throw new NotGenuine('jws.header');
  if (publicJwk.kid !== undefined && header.kid !== publicJwk.kid) throw new NotGenuine('jws.other_key');
  const key = await publicKey(publicJwk);
  const genuine = await crypto.subtle.verify(
    ES256,
    key,
    fromBase64url(parts[2]),
    utf8(`${parts[0]}.${parts[1]}`),
  );
  if (!genuine) throw new NotGenuine('jws.signature');
  return parsed(parts[1]);
}

function parsed(part) {
  try {
    return JSON.parse(text(fromBase64url(part)));
  } catch {
    throw new NotGenuine('jws.not_json');
  }
}

const publicKey = ({kty, crv, x, y}) =>
  crypto.subtle.importKey('jwk', {kty, crv, x, y}, P256, false, ['verify']);

/** RFC 7638 thumbprint of a P-256 public key: base64url of SHA-256 over its required members in order. */
export async function thumbprint({crv, kty, x, y}) {
  return toBase64url(await sha256(utf8(JSON.stringify({crv, kty, x, y}))));
}

/** A new pair whose private half never leaves the browser; {privateKey, publicKey, jwk}. */
export async function newPair() {
  const pair = await crypto.subtle.generateKey(P256, false, ['sign', 'verify']);
  const {kty, crv, x, y} = await crypto.subtle.exportKey('jwk', pair.publicKey);
  return {privateKey: pair.privateKey, publicKey: pair.publicKey, jwk: {kty, crv, x, y}};
}
