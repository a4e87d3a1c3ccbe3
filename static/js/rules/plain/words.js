/**
 * The words that a person reads, by code: the twin of webapp/words.py.
 * Reading the files is the caller's business.
 */
const PLACEHOLDER = /\{([a-z][a-z0-9_]*)\}/g;

/**
 * The sentence of a code with its fields put in. A field whose name ends in `_code` holds another code;
 * its words are put in. Throws where a code has no words or a field has no value: a fault of the program.
 * @param {Object<string, string>} words code to sentence
 * @param {string} code
 * @param {Object<string, string|number>} fields
 * @returns {string}
 */
export function fill(words, code, fields = {}) {
  if (!Object.hasOwn(words, code)) throw new Error(`no words for ${code}`);
  return words[code].replace(PLACEHOLDER, (_, name) => {
    if (!Object.hasOwn(fields, name)) throw new Error(`${code} needs the field ${name}`);
    return name.endsWith('_code') ? fill(words, String(fields[name])) : String(fields[name]);
  });
}
