/**
 * The plate: every number that is typed into the control or read off it stands on one,
 * read out as a term and its value.
 */
import {el} from './dom.js';

/**
 * A plate of {value, unit, other, note} under a label.
 * @param {string} label
 * @param {{value: any, unit?: ?string, other?: any, note?: ?string}} number
 */
export function plate(label, {value, unit = null, other = null, note = null}, kind = '') {
  return el(
    'dl',
    {class: `plate ${kind}`},
    el('dt', {class: 'plate-label'}, label),
    el(
      'dd',
      {class: 'plate-line'},
      el('span', {class: 'plate-value'}, value),
      unit && [' ', el('span', {class: 'plate-unit'}, unit)],
    ),
    other &&
      el(
        'dd',
        {class: 'plate-other'},
        unit && el('span', {class: 'unit-under'}, unit),
        el('span', {class: 'other-unit'}, other),
      ),
    note && el('dd', {class: 'plate-note'}, note),
  );
}

/** Plates side by side. */
export const plates = (...each) => el('div', {class: 'plates'}, each);

/**
 * A plate that is typed on: a text field that the system keyboard leaves alone,
 * so a hardware keyboard and the keypad both write into it. `changed(text)` hears of every change.
 * @param {{label: string, unit?: ?string, name: string, value?: string, describedBy?: ?string,
 *   changed: (text: string) => void, chosen?: () => void, note?: any}} given
 */
export function entry({
  label,
  unit = null,
  name,
  value = '',
  describedBy = null,
  changed,
  chosen = () => {},
  note = null,
}) {
  const input = el('input', {
    type: 'text',
    inputmode: 'none',
    autocomplete: 'off',
    autocapitalize: 'off',
    spellcheck: 'false',
    enterkeyhint: 'done',
    class: 'plate-value',
    name,
    'aria-label': unit ? `${label}, ${unit}` : label,
    'aria-describedby': describedBy,
    data: {entry: name},
    on: {input: event => changed(event.target.value), focus: chosen},
  });
  input.value = value;
  return el(
    'div',
    {class: 'plate entry', data: {plate: name}, press: () => input.focus()},
    el('span', {class: 'plate-label', 'aria-hidden': 'true'}, label),
    el('span', {class: 'plate-line'}, input, unit && el('span', {class: 'plate-unit'}, unit)),
    note,
  );
}
