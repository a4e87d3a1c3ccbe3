/** The words of the tablet: whole sentences by code, from the same files that the server reads. */
import {fill} from '../rules/plain/words.js';

/** @type {Object<string, string>} */
const words = {};

const wordsOfPage = () => /** @type {HTMLLinkElement} */ (document.getElementById('words')).href;

/** Read the catalogue that the page names; from the worker's cache when there is no network. */
export async function loadWords(address = wordsOfPage()) {
  Object.assign(words, await (await fetch(address)).json());
}

/** The sentence of a code with its fields put in. Throws for a code without words: a fault of the program. */
export const say = (code, fields = {}) => fill(words, code, fields);

/**
 * The same with elements in it (a time, say): the parts of the sentence, for `el`. No key types the character
 * that stands round an element's name meanwhile.
 * @param {string} code
 * @param {Object<string, any>} elements by field
 * @param {Object<string, string|number>} fields
 * @returns {any[]}
 */
export function sayWith(code, elements, fields = {}) {
  const names = Object.keys(elements);
  const marks = Object.fromEntries(names.map(name => [name, `\u0000${name}\u0000`]));
  return say(code, {...fields, ...marks})
    .split(new RegExp(`\u0000(${names.join('|')})\u0000`))
    .flatMap((part, place) => (place % 2 === 1 ? elements[part] : part));
}

/**
 * The sentence of something thrown that carries a code;
 * what has no words of its own gets the general sentence.
 */
export function sayError(error) {
  return error?.code && error.code in words
    ? say(error.code, error.fields ?? {})
    : say('tablet.error.other', {code: error?.code ?? error?.name ?? ''});
}
