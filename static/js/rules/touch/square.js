/**
 * The look for square: two typed touches, and the error that their difference makes over the jaw. The
 * twin of webapp/domain/touch/square.py and webapp/domain/setup/touching/square.py, where the rules stand.
 * Products go beyond 2**53: BigInt.
 */
import {touchLengthNm} from './compare.js';
import {RuleError} from '../plain/errors.js';
import {close, note} from '../setup/state.js';
import {readLength} from '../setup/steps.js';
import {sameAxis} from '../setup/touching/touches.js';

/**
 * The error over the jaw's length, and whether it can be told from none.
 * @param {number[]} valuesNm
 * @param {{jaw_length_nm: number, apart_nm: number, told_nm: number}} plan the sheet's
 * @returns {{error_nm: number, told: boolean}}
 */
export function errorOverJaw([first, second], plan) {
  const product = BigInt(plan.jaw_length_nm) * BigInt(second - first);
  const apart = BigInt(plan.apart_nm);
  const size = Number((2n * (product < 0n ? -product : product) + apart) / (2n * apart));
  return {error_nm: product < 0n ? 0 - size : size, told: size > plan.told_nm};
}

/** What the control showed at both places; it closes its step whatever it says. */
export function enterSquare(state, event) {
  const {data} = event;
  const axis = sameAxis(state.plan.get(event.step), data.axis);
  const plan = state.sheet.square ?? null;
  if (plan === null || plan.axis !== axis) throw new RuleError('setup.square_not_planned', {axis});
  const values = data.typed.map(typed => readLength(touchLengthNm, state, typed, axis));
  values.forEach((value, place) => {
    if (value !== data.values_nm[place])
      note(state, event, 'setup.value_differs', {axis, typed: data.typed[place]});
  });
  const found = errorOverJaw(values, plan);
  if (data.apart_nm !== plan.apart_nm || data.error_nm !== found.error_nm || data.told !== found.told) {
    note(state, event, 'setup.square_differs', {axis});
  }
  state.squares.push({
    axis,
    typed: data.typed,
    values_nm: values,
    apart_nm: plan.apart_nm,
    ...found,
    stands: true,
    event: event.id,
    at_utc: event.at_utc,
  });
  close(state, event.step, event);
}
