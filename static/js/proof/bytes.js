/** Bytes, base64url (RFC 7515, appendix C) and SHA-256: what signing and sealing are made of. */

const encoder = new TextEncoder();
const decoder = new TextDecoder('utf-8', {fatal: true});

/** UTF-8 bytes of a text. */
export const utf8 = text => encoder.encode(text);

/** Text of UTF-8 bytes; throws TypeError for bytes that are no UTF-8. */
export const text = bytes => decoder.decode(bytes);

/** Base64url without padding. */
export function toBase64url(bytes) {
  let binary = '';
  for (const byte of new Uint8Array(bytes)) binary += String.fromCharCode(byte);
  return btoa(binary).replace(/\+/g, '-').replace(/\//g, '_').replace(/=+$/, '');
}

/** Bytes of a base64url text; throws a SyntaxError for anything else, padding and blanks included. */
export function fromBase64url(value) {
  if (typeof value !== 'string' || !/^[A-Za-z0-9_-]*$/.test(value) || value.length % 4 === 1)
    throw new SyntaxError('not base64url');
  const binary = atob(value.replace(/-/g, '+').replace(/_/g, '/'));
  return Uint8Array.from(binary, character => character.charCodeAt(0));
}

/** Lower-case hex. */
export const toHex = bytes =>
  Array.from(new Uint8Array(bytes), byte => byte.toString(16).padStart(2, '0')).join('');

/** Bytes of lower-case hex; throws a SyntaxError for anything else. */
export function fromHex(value) {
  if (typeof value !== 'string' || !/^([0-9a-f]{2})*$/.test(value)) throw new SyntaxError('not hex');
  return Uint8Array.from(value.match(/../g) ?? [], pair => parseInt(pair, 16));
}

/** SHA-256 of bytes, as bytes. */
export const sha256 = async bytes => new Uint8Array(await crypto.subtle.digest('SHA-256', bytes));

/** SHA-256 of a text's UTF-8 bytes, as lower-case hex. */
export const sha256Hex = async value => toHex(await sha256(utf8(value)));

/** All parts one behind the other. */
export function joined(...parts) {
  const whole = new Uint8Array(parts.reduce((length, part) => length + part.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}
