/**
 * Lengths as whole nanometres: what is typed and what is shown. The twin of webapp/domain/plain/lengths.py,
 * where the rules stand. Plain numbers are exact here: every product stays below 2**53.
 *
 * @typedef {{unit: 'mm'|'in', decimals: number}} Display
 */
import {RuleError} from './errors.js';

const NM = {mm: 1_000_000, in: 25_400_000};
const MOST_DECIMALS = {mm: 6, in: 5};
const OTHER = {mm: 'in', in: 'mm'};
// 25.4 as 127 / 5: what a number typed in the other unit meant.
const READ_AS_OTHER = {mm: [127, 5], in: [5, 127]};
const MOST_WHOLE_DIGITS = 7;
const MINUS = '−';
const BLANKS = ' \t\r\n\u00a0\u2009\u202f';
const EDGES = new RegExp(`^[${BLANKS}]+|[${BLANKS}]+$`, 'g');
const NUMERIC = /^[0-9+\-−.,eE]*$/;

/** The smallest step of the display, in nanometres. */
export const resolutionNm = ({unit, decimals}) => NM[unit] / 10 ** decimals;

/**
 * A display of about the same fineness in the other unit.
 * @returns {Display}
 */
export const otherDisplay = ({unit, decimals}) =>
  unit === 'mm'
    ? {unit: 'in', decimals: Math.min(decimals + 1, MOST_DECIMALS.in)}
    : {unit: 'mm', decimals: Math.max(decimals - 1, 0)};

/**
 * The typed length in nanometres, both limits included. Throws a RuleError that names what is in the way.
 * @param {string} text
 * @param {Display} display
 * @param {number} lowNm
 * @param {number} highNm
 * @returns {number}
 */
export function parseLength(text, display, lowNm, highNm) {
  const typed = text.replace(EDGES, '');
  const {sign, whole, decimals} = split(typed);
  if (decimals.length > display.decimals) {
    throw new RuleError('length.too_many_decimals', {typed, decimals: display.decimals, unit: display.unit});
  }
  const value = valueNm(sign, whole, decimals, display);
  /**
   * @param {?number} nm
   * @returns {nm is number}
   */
  const inside = nm => nm !== null && lowNm <= nm && nm <= highNm;
  if (couldBeThousands(typed)) {
    const thousands = valueNm(sign, whole + decimals, '', display);
    if (inside(value) && inside(thousands)) {
      throw new RuleError('length.ambiguous_comma', {
        typed,
        as_decimal: formatLength(value, display),
        as_thousands: formatLength(thousands, display),
        unit: display.unit,
      });
    }
  }
  if (!inside(value)) throw beyondTravel(typed, value, display, lowNm, highNm);
  return value;
}

/**
 * Whether the one comma of a typed number could part thousands: "1,016", not "1,5" and not "0,123".
 * @param {string} text
 */
export const couldBeThousands = text => /^[+\-−]?[1-9][0-9]{0,2},[0-9]{3}$/.test(text.replace(EDGES, ''));

function split(typed) {
  if (typed === '') throw new RuleError('length.empty');
  checkCharacters(typed);
  const sign = typed[0] === '-' || typed[0] === MINUS ? -1 : 1;
  const body = /^[+\-−]/.test(typed) ? typed.slice(1) : typed;
  const parts = body.split(/[.,]/);
  if (parts.length > 2) throw new RuleError('length.more_than_one_separator', {typed});
  const [whole, decimals = ''] = parts;
  if (whole + decimals === '') throw new RuleError('length.no_digits', {typed});
  return {sign, whole, decimals};
}

function checkCharacters(typed) {
  if (isExponent(typed)) throw new RuleError('length.exponent', {typed});
  for (const character of typed) {
    if (BLANKS.includes(character)) throw new RuleError('length.blank_inside', {typed});
    if (!/^[0-9+\-−.,]$/.test(character)) throw new RuleError('length.letters', {typed, character});
  }
  const signs = typed.match(/[+\-−]/g) ?? [];
  if (signs.length > 1) throw new RuleError('length.more_than_one_sign', {typed});
  if (signs.length === 1 && !/^[+\-−]/.test(typed)) throw new RuleError('length.sign_not_first', {typed});
}

/** One e behind a digit or separator, among characters of a number. */
function isExponent(typed) {
  const at = typed.search(/[eE]/);
  return at > 0 && typed.match(/[eE]/g).length === 1 && NUMERIC.test(typed) && /[0-9.,]/.test(typed[at - 1]);
}

/**
 * The value, or null when it has more digits than any machine has travel.
 * @returns {?number}
 */
function valueNm(sign, whole, decimals, display) {
  const digits = whole.replace(/^0+/, '');
  if (digits.length > MOST_WHOLE_DIGITS) return null;
  const steps = Number(digits + decimals.padEnd(display.decimals, '0'));
  return 0 + sign * steps * resolutionNm(display);
}

function beyondTravel(typed, value, display, lowNm, highNm) {
  const {unit} = display;
  const [low, high] = [formatLength(lowNm, display), formatLength(highNm, display)];
  const [up, down] = READ_AS_OTHER[unit];
  if (value !== null && lowNm * down <= value * up && value * up <= highNm * down) {
    return new RuleError('length.beyond_travel_other_unit', {
      typed,
      low,
      high,
      unit,
      other_unit: OTHER[unit],
      converted: formatRatio(value, up, down, display, true),
    });
  }
  return new RuleError('length.beyond_travel', {typed, low, high, unit});
}

/** numerator / denominator, both not negative, rounded half to even (NIST SP 811, B.7.1). */
function halfEven(numerator, denominator) {
  const rest = numerator % denominator;
  const whole = (numerator - rest) / denominator;
  const up = 2 * rest > denominator || (2 * rest === denominator && whole % 2 === 1);
  return up ? whole + 1 : whole;
}

/**
 * The value as the display shows it: rounded half to even, a point, all decimals, U+2212 below zero.
 * @param {number} nm
 * @param {Display} display
 * @param {boolean} sign whether a value above zero has a plus
 */
export const formatLength = (nm, display, sign = true) => formatRatio(nm, 1, 1, display, sign);

/** The value in the other unit with that unit behind it. */
export function formatOtherUnit(nm, display, sign = true) {
  const other = otherDisplay(display);
  return `${formatLength(nm, other, sign)} ${other.unit}`;
}

function formatRatio(nm, up, down, display, sign) {
  const steps = halfEven(Math.abs(nm) * up, down * resolutionNm(display));
  const digits = String(steps).padStart(display.decimals + 1, '0');
  const at = digits.length - display.decimals;
  const text = display.decimals ? `${digits.slice(0, at)}.${digits.slice(at)}` : digits;
  if (steps === 0) return text;
  if (nm < 0) return MINUS + text;
  return sign ? `+${text}` : text;
}
