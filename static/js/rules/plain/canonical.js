/**
 * JSON in its one spelling: names sorted, no spaces. The twin of `canonical_text` in
 * webapp/domain/plain/json_strict.py, where the rules stand (RFC 8785). Throws a RuleError for what
 * has no such spelling.
 */
import {RuleError} from './errors.js';

const PLAIN = /^-?[0-9.]+$/;

/**
 * @param {*} value
 * @returns {string}
 */
export function canonicalText(value) {
  if (value === null || typeof value === 'boolean') return String(value);
  if (typeof value === 'string') return text(value);
  if (typeof value === 'number') return number(value);
  if (Array.isArray(value)) return `[${value.map(canonicalText).join(',')}]`;
  if (Object.getPrototypeOf(value ?? 0) === Object.prototype) {
    return `{${Object.keys(value)
      .sort()
      .map(name => `${text(name)}:${canonicalText(value[name])}`)
      .join(',')}}`;
  }
  throw new RuleError('json.cannot_write', {kind: typeof value});
}

function text(value) {
  if (!value.isWellFormed()) throw new RuleError('json.lone_surrogate');
  return JSON.stringify(value);
}

function number(value) {
  if (Number.isInteger(value) && !Number.isSafeInteger(value))
    throw new RuleError('json.integer_too_large', {digits: String(value)});
  if (!PLAIN.test(String(value))) throw new RuleError('json.not_a_number', {word: String(value)});
  return String(value);
}
