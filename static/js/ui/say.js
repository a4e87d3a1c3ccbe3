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
 * The sentence of something thrown that carries a code;
 * what has no words of its own gets the general sentence.
 */
export function sayError(error) {
  return error?.code && error.code in words
    ? say(error.code, error.fields ?? {})
    : say('tablet.error.other', {code: error?.code ?? error?.name ?? ''});
}
