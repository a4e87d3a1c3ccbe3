/**
 * Whether a hash tree only grew from one size to another, told by a proof alone (RFC 9162, section 2.1.4.2).
 * Twin of webapp/domain/evidence/consistency.py. Sizes are whole numbers up to 2^53 - 1, hashes lower-case
 * hex.
 */
import {fromHex, joined, sha256, toHex} from './bytes.js';

const NODE = new Uint8Array([1]);
const half = place => Math.floor(place / 2);
const isOdd = place => place % 2 === 1;

/**
 * Resolves to whether `proof` shows that the tree (size, root) begins with the tree (earlier, earlierRoot).
 */
export async function isConsistent(earlier, earlierRoot, size, root, proof) {
  if (![earlier, size].every(Number.isSafeInteger) || !(earlier > 0 && earlier <= size)) return false;
  if (earlier === size) return proof.length === 0 && earlierRoot === root;
  if (proof.length === 0) return false;
  const [start, ...beside] = isPowerOfTwo(earlier) ? [earlierRoot, ...proof] : proof;
  let [place, last] = [earlier - 1, size - 1];
  while (isOdd(place)) [place, last] = [half(place), half(last)];
  let [first, second] = [start, start];
  for (const hash of beside) {
    if (last === 0) return false;
    if (isOdd(place) || place === last) {
      [first, second] = [await nodeHash(hash, first), await nodeHash(hash, second)];
      while (place > 0 && !isOdd(place)) [place, last] = [half(place), half(last)];
    } else {
      second = await nodeHash(second, hash);
    }
    [place, last] = [half(place), half(last)];
  }
  return last === 0 && first === earlierRoot && second === root;
}

const nodeHash = async (left, right) => toHex(await sha256(joined(NODE, fromHex(left), fromHex(right))));

function isPowerOfTwo(size) {
  while (size > 1 && !isOdd(size)) size = half(size);
  return size === 1;
}
