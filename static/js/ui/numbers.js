/** Numbers as a person reads them: in the machine's own unit and resolution, the other unit beside it. */
import {displayOf as display} from '../rules/touch/compare.js';
import {formatLength, formatOtherUnit} from '../rules/plain/lengths.js';

const MM_PER_INCH = 25.4;

/** {value, unit, other}: a length with its sign. */
export const shown = (nm, machine, sign = true) => ({
  value: formatLength(nm, display(machine), sign),
  unit: machine.unit,
  other: formatOtherUnit(nm, display(machine), sign),
});

/** A length without its sign, for distances. */
export const distance = (nm, machine) => shown(nm, machine, false);

/**
 * A length without its sign, as fine as an eye can judge it: tenths of a millimetre, hundredths of an inch.
 */
export const judged = (nm, {unit}) => shown(nm, {unit, decimals: unit === 'in' ? 2 : 1}, false);

/** Just the text of a length, sign shown. */
export const written = (nm, machine) => formatLength(nm, display(machine));

/**
 * A feed as {value, unit, other}, from the text that the sheet carries ("900 mm/min") and its number.
 * The other unit is the same feed to a tenth: 2.0 in/min is 50.8 mm/min.
 */
export function feed(text, mmPerMin, machine) {
  const [value, unit] = text.split(' ');
  const other =
    machine.unit === 'in' ? `${mmPerMin.toFixed(1)} mm/min` : `${(mmPerMin / MM_PER_INCH).toFixed(1)} in/min`;
  return {value, unit, other};
}
