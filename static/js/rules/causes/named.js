/**
 * Likely causes of an odd value, and slips of typing: the twin of `name_causes` in
 * webapp/domain/causes/named.py and of webapp/domain/causes/typing_slips.py, where the rules stand. Whole
 * numbers and one quotient of whole numbers: both name the same.
 *
 * @typedef {{code: string, fields: Object, low_nm: number, high_nm: number,
 *   uncertainty_nm: number, alone: boolean,
 *   beside: {axis: string, value_nm: number, uncertainty_nm: number}[]}} Candidate
 * @typedef {{chance_nm: number|null, uncertainty_nm: number, candidates: Candidate[]}} Causes
 * @typedef {{code: string, fields: Object, low_nm: number, high_nm: number, alike: boolean}} Named
 */
import {resolutionNm} from '../plain/lengths.js';

const MOST_NAMED = 4;
const WITHIN = 3;
const MOST_PLACES = 3;
const ROOM_FOR_DIGIT = 4;
// Values come first, then ranges, then slips of digits.
const [VALUE, RANGE, SLIP] = [0, 1, 2];
// Causes whose fields tell them apart: two slots are two causes.
const SAID_APART = new Set(
  [
    'other_slot',
    'other_ball',
    'other_seating',
    'other_axis',
    'other_unit',
    'parallel_on_jaw',
    'parallel_on_bed',
    'jaw_step',
  ].map(name => `cause.${name}`),
);

// What says already what another one would.
const SAYS_MORE = {
  'cause.other_axis': 'cause.axes_exchanged',
  'cause.vise_moved_a_little': 'cause.vise_moved',
};

/**
 * At most four causes, the likeliest first. `alike`: cannot be told from the first by the number alone.
 * @param {number} valueNm
 * @param {Causes} causes the sheet's
 * @param {{centre_nm: number|null, ask_nm: number|null}} usual the sheet's
 * @param {{unit: string, decimals: number}} display
 * @param {{copiedNm?: number|null, ownSlot?: string|null, earlier?:
 * {axis: string, value_nm: number, verdict: string}[]}} setup
 * @returns {Named[]}
 */
export function nameCauses(
  valueNm,
  causes,
  usual,
  display,
  {copiedNm = null, ownSlot = null, earlier = []} = {},
) {
  const {centre_nm: centre} = usual;
  if (centre !== null && Math.abs(valueNm - centre) <= (causes.chance_nm ?? 0)) return [];
  const read = new Map(earlier.map(one => [one.axis, one.value_nm]));
  const alone = earlier.every(one => one.verdict === 'agrees');
  const found = [];
  [...causes.candidates, ...ofThisSetup(copiedNm, causes, centre, display)].forEach((one, place) => {
    const off = apart({low_nm: valueNm, high_nm: valueNm}, one);
    const fits = off <= WITHIN * one.uncertainty_nm && (alone || !one.alone);
    const own = one.code === 'cause.other_slot' && one.fields.slot === ownSlot;
    if (fits && !own && one.beside.every(other => reads(read, other))) found.push(entry(one, off, place));
  });
  const before = found.length;
  repairs(valueNm, display, usual).forEach((one, place) => {
    if (one.tells) found.push(slip(valueNm, one, causes, centre, display, before + place));
  });
  return ranked(found);
}

/**
 * What only this setup knows: the slot's old value, still there, or taken off what the control shows.
 * Three uncertainties of the first are half a step.
 */
function ofThisSetup(copiedNm, causes, centre, display) {
  if (copiedNm === null) return [];
  const at = (code, nm, uncertainty) => ({
    code,
    fields: {},
    low_nm: nm,
    high_nm: nm,
    uncertainty_nm: uncertainty,
    alone: false,
    beside: [],
  });
  const old = at('cause.old_value', copiedNm, Math.max(1, Math.floor(resolutionNm(display) / 6)));
  if (centre === null || copiedNm === 0) return [old];
  return [old, at('cause.work_coordinates', centre - copiedNm, causes.uncertainty_nm)];
}

const reads = (read, other) =>
  read.has(other.axis) && Math.abs(read.get(other.axis) - other.value_nm) <= WITHIN * other.uncertainty_nm;

const entry = (one, off, place) => ({
  code: one.code,
  fields: one.fields,
  low_nm: one.low_nm,
  high_nm: one.high_nm,
  uncertainty_nm: one.uncertainty_nm,
  rank: [one.low_nm < one.high_nm ? RANGE : VALUE, -one.beside.length, off / one.uncertainty_nm, place],
});

/** A slip as a cause: what it would have given is the value less what the slip makes of the rest. */
function slip(valueNm, repair, causes, centre, display, place) {
  const scaled = nm => Math.floor((nm * repair.up) / repair.down);
  const off = scaled(repair.off_nm);
  const given = repair.repaired_nm > centre ? valueNm - off : valueNm + off;
  const uncertainty =
    Math.max(1, scaled(causes.uncertainty_nm)) + (repair.down > 1 ? resolutionNm(display) : 0);
  return {
    code: repair.code.replace('repair.', 'cause.'),
    fields: {},
    low_nm: given,
    high_nm: given,
    uncertainty_nm: uncertainty,
    rank: [SLIP, 0, off / uncertainty, place],
  };
}

/** How far two ranges lie apart, 0 where they meet. */
const apart = (one, other) => Math.max(0, other.low_nm - one.high_nm, one.low_nm - other.high_nm);

const isAlike = (one, other) =>
  apart(one, other) <= WITHIN * Math.max(one.uncertainty_nm, other.uncertainty_nm);

const byRank = (one, other) => {
  const at = one.rank.findIndex((part, place) => part !== other.rank[place]);
  return at < 0 ? 0 : one.rank[at] - other.rank[at];
};

/**
 * What happened before slips of digits, and in each what is alike before what is not;
 * the order of ranks stays within.
 */
const isLater = one => (one.rank[0] === SLIP ? 2 : 0) + (one.alike ? 0 : 1);

const sameFields = (one, other) =>
  Object.keys(one).length === Object.keys(other).length &&
  Object.keys(one).every(name => one[name] === other[name]);

function ranked(found) {
  if (found.length === 0) return [];
  const inOrder = [...found].sort(byRank);
  const first = inOrder[0];
  for (const one of inOrder) one.alike = isAlike(one, first);
  const codes = new Set(found.map(({code}) => code));
  const told = [];
  for (const {code, fields, low_nm, high_nm, alike} of inOrder.sort(
    (one, other) => isLater(one) - isLater(other),
  )) {
    const said = told.some(
      one => one.code === code && (!SAID_APART.has(code) || sameFields(one.fields, fields)),
    );
    if (!said && !codes.has(SAYS_MORE[code])) told.push({code, fields, low_nm, high_nm, alike});
  }
  return told.slice(0, MOST_NAMED);
}

/**
 * The slips of typing that would explain a value beyond the ask line, the nearest of each kind;
 * none for a value inside. `tells`: it says more than that the value is near; only those are named as causes.
 * @returns {{code: string, repaired_nm: number, off_nm: number, up: number, down: number, tells: boolean}[]}
 */
export function repairs(valueNm, display, {centre_nm: centre, ask_nm: ask}) {
  if (centre === null || ask === null || Math.abs(valueNm - centre) <= ask) return [];
  const best = new Map();
  for (const [code, repaired, up, down, unit] of slips(valueNm, centre, display)) {
    const off = Math.abs(repaired - centre);
    const tells = unit === null || unit >= ROOM_FOR_DIGIT * ask;
    const known = best.get(code);
    const better = !known || (tells === known.tells ? off < known.off_nm : tells);
    if (off <= ask + (down - 1) * resolutionNm(display) && better) {
      best.set(code, {code, repaired_nm: repaired, off_nm: off, up, down, tells});
    }
  }
  return [...best.values()];
}

/** @returns {Generator<[string, number, number, number, ?number]>} code, repaired, up, down, unit */
function* slips(valueNm, centre, display) {
  const step = resolutionNm(display);
  const sign = valueNm < 0 ? -1 : 1;
  const steps = Math.abs(valueNm) / step;
  if (valueNm !== 0) yield ['repair.sign', -valueNm, 1, 1, null];
  for (let places = 1; places <= MOST_PLACES; places += 1) {
    const factor = 10 ** places;
    yield ['repair.point', valueNm * factor, 1, factor, null];
    if (steps % factor === 0 && steps !== 0) yield ['repair.point', valueNm / factor, factor, 1, null];
  }
  // A leading digit that became 0 is no longer shown: there are at least as many places as the centre has.
  const shown = String(Math.floor(Math.abs(centre) / step)).length;
  const digits = [...String(steps).padStart(Math.max(display.decimals + 1, shown), '0')];
  const meant = changed => 0 + sign * Number(changed.join('')) * step;
  for (let at = 0; at + 1 < digits.length; at += 1) {
    yield ['repair.swapped', meant(digits.with(at, digits[at + 1]).with(at + 1, digits[at])), 1, 1, null];
  }
  for (let at = 0; at < digits.length; at += 1) {
    const unit = 10 ** (digits.length - 1 - at) * step;
    for (let digit = 0; digit <= 9; digit += 1)
      yield ['repair.digit', meant(digits.with(at, String(digit))), 1, 1, unit];
  }
}
