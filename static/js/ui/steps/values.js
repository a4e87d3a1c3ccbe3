/** Three values typed one after another on one screen; what copying down and clearing share. */
import {AXES, slotLengthNm} from '../../rules/touch/compare.js';
import {say, sayError} from '../say.js';
import {numberKeys} from '../keypad.js';
import {typing} from './typing.js';

/**
 * Three fields and a primary action that walks through them.
 * `note(axis)` stands under a field; `done({typed, values})` is called when all three are taken.
 */
export function threeValues(
  context,
  {note, done, lastLabel, nextLabel = axis => say('tablet.values.next', {axis})},
) {
  const {setup, again} = context;
  const unit = setup.machine.unit;
  const enter = () => {
    const taken = take();
    if (!taken) return undefined;
    const missing = AXES.find(axis => fields.value(axis).trim() === '');
    if (missing) {
      fields.focus(missing);
      return again();
    }
    return done(taken);
  };
  const fields = typing(
    context,
    AXES.map(axis => ({name: axis, label: axis, unit, note: note(axis)})),
    numberKeys(),
    'compact',
  );
  // What this screen asks for. The focus goes over other fields on its way to the button, by keys.
  const asked = fields.active();

  /** Take what stands in the fields; the first that cannot be taken says why beside itself. */
  function take() {
    const values = {};
    for (const axis of AXES) {
      const text = fields.value(axis);
      if (text.trim() === '' && axis !== asked) continue;
      try {
        values[axis] = slotLengthNm(text, setup.machine, axis);
      } catch (error) {
        fields.focus(axis);
        fields.fail([`${axis}: `, sayError(error)]);
        return null;
      }
    }
    return {values, typed: Object.fromEntries(AXES.map(axis => [axis, fields.value(axis)]))};
  }

  const next = AXES.find(axis => axis !== asked && fields.value(axis).trim() === '');
  return {fields, go: {label: next ? nextLabel(next) : lastLabel, press: enter}};
}
