/**
 * What is compared with the sheet: lengths with travel, touches with the usual, copied values with the
 * register, tool numbers. The twin of webapp/domain/touch/compare.py. The sheet carries the limits; a value
 * on a line is inside.
 */
import {parseLength, resolutionNm} from '../plain/lengths.js';

export {matchSlot} from '../shop/slots.js';

export const AXES = ['X', 'Y', 'Z'];
const TOOL = /^[Tt]?[ \t]*0*([0-9]+)$/;

/** How a machine's control shows lengths. */
export const displayOf = ({unit, decimals}) => ({unit, decimals});

/** The typed value of a touch, inside the axis' travel. Throws a RuleError. */
export function touchLengthNm(typed, machine, axis) {
  const [low, high] = machine.travel_nm[axis];
  return parseLength(typed, displayOf(machine), low, high);
}

/** The typed value of a slot, inside the axis' travel or zero. Throws a RuleError. */
export function slotLengthNm(typed, machine, axis) {
  const [low, high] = machine.travel_nm[axis];
  return parseLength(typed, displayOf(machine), Math.min(low, 0), Math.max(high, 0));
}

/**
 * The verdict on a touch and its signed difference from the usual; without a usual yet, `ask` and null.
 * @param {{centre_nm: number|null, ask_nm: number|null, stop_nm:
 * number|null, early_stops_nm?: number[][]}} usual
 * @param {number} valueNm
 * @returns {{verdict: 'agrees'|'ask'|'stop', difference_nm: number|null}}
 */
export function verdictOn(
  {centre_nm: centre, ask_nm: ask, stop_nm: stop, early_stops_nm: early = []},
  valueNm,
) {
  if (centre === null || ask === null || stop === null) return {verdict: 'ask', difference_nm: null};
  const difference = valueNm - centre;
  if (Math.abs(difference) <= ask) return {verdict: 'agrees', difference_nm: difference};
  const isStop =
    Math.abs(difference) > stop || early.some(([low, high]) => low <= valueNm && valueNm <= high);
  return {verdict: isStop ? 'stop' : 'ask', difference_nm: difference};
}

/** Whether two touches differ by no more than the ask line; without one they never agree. */
export const repeatAgrees = (valueNm, beforeNm, usual) =>
  usual.ask_nm !== null && Math.abs(valueNm - beforeNm) <= usual.ask_nm;

/**
 * Whether the typed tool number is the expected one:
 * a leading T, blanks around and leading zeros do not count.
 */
export function sameTool(typed, expected) {
  const [one, other] = [typed, expected].map(text => TOOL.exec(text.replace(/^[ \t]+|[ \t]+$/g, '')));
  return one !== null && other !== null && one[1] === other[1];
}

/**
 * For each axis whether the copied value is the one last seen in the slot, within half a step of the display.
 * @param {Object} sheet
 * @param {string|null} label
 * @param {Object<string, number>} valuesNm
 * @returns {Object<string, 'same'|'changed'|'not_seen_before'>}
 */
export function comparedOnSheet(sheet, label, valuesNm) {
  const last = sheet.slots.find(slot => slot.label === label)?.last_values_nm ?? {};
  const step = resolutionNm(displayOf(sheet.machine));
  const one = (nm, before) =>
    before === undefined ? 'not_seen_before' : 2 * Math.abs(nm - before) <= step ? 'same' : 'changed';
  return Object.fromEntries(Object.entries(valuesNm).map(([axis, nm]) => [axis, one(nm, last[axis])]));
}

/** What an axis of a cleared row holds: zero, or the lead's parked value. */
export const parkedNm = ({machine}, axis) => machine.parked_nm?.[axis] ?? 0;

/** Whether the lead parks the machine's rows at something else than zeros. */
export const isParked = sheet => AXES.some(axis => parkedNm(sheet, axis) !== 0);

/** The first axis that does not hold what a cleared row holds, or undefined. */
export const notCleared = (sheet, valuesNm) => AXES.find(axis => valuesNm[axis] !== parkedNm(sheet, axis));

/** Whether a row holds zeros, but for axes that are parked: at whatever value they were parked when. */
const wasCleared = (sheet, valuesNm) =>
  Object.entries(valuesNm).every(([axis, nm]) => nm === 0 || parkedNm(sheet, axis) !== 0);

/**
 * Labels of other rows that were last seen with exactly these values,
 * each within half a step of the display; none for a cleared row's.
 * @returns {string[]}
 */
export function rowsWithValues(sheet, label, valuesNm) {
  if (wasCleared(sheet, valuesNm)) return [];
  const step = resolutionNm(displayOf(sheet.machine));
  const same = last =>
    Object.entries(valuesNm).every(
      ([axis, nm]) => last[axis] !== undefined && 2 * Math.abs(nm - last[axis]) <= step,
    );
  return sheet.slots
    .filter(row => row.label !== label && row.last_values_nm !== null && same(row.last_values_nm))
    .map(row => row.label);
}

/**
 * What clearing does to each axis: by how much the value changes, and whether the control will ask first.
 * @param {Object<string, number>} valuesNm
 * @param {number|null} confirmLimitNm null: this control never asks
 * @param {Object<string, number>} clearedNm what each axis of a cleared row holds;
 * an axis that is not there, zero
 */
export const clearPlan = (valuesNm, confirmLimitNm, clearedNm = {}) =>
  Object.fromEntries(
    Object.entries(valuesNm).map(([axis, nm]) => {
      const changeNm = (clearedNm[axis] ?? 0) - nm;
      return [
        axis,
        {change_nm: changeNm, asks: confirmLimitNm !== null && Math.abs(changeNm) > confirmLimitNm},
      ];
    }),
  );

/**
 * The reasons for which a touch may be kept, the plainest first. `questions` are those that cover the touch.
 * @returns {string[]}
 */
export function keepReasons(touch, questions) {
  if (touch.verdict === 'agrees') return ['agrees'];
  const first = touch.difference_nm === null ? ['first'] : [];
  if (questions.length === 0) return first;
  if (touch.verdict === 'ask') return [...first, 'question'];
  const lead = questions.some(({answer}) => answer?.decision === 'go_on') ? ['lead'] : [];
  return touch.repeat_agrees ? [...lead, 'repeat'] : lead;
}

/** The first reason for which a touch may be kept, or null. */
