/**
 * The tablet's own keys: large, always in the same place, never over the picture. They write into one
 * field at a time; a hardware keyboard writes there too, wherever the focus is. What is typed counts
 * only when it is entered.
 */
import {el, svg} from './dom.js';
import {say} from './say.js';

const MINUS = '−';
const NUMBER_KEYS = [
  '7',
  '8',
  '9',
  'erase',
  '4',
  '5',
  '6',
  'clear',
  '1',
  '2',
  '3',
  'minus',
  '0',
  'point',
  'plus',
];
const WHOLE_KEYS = ['7', '8', '9', '4', '5', '6', '1', '2', '3', '0', 'erase'];

/** Keys for a signed length. */
export const numberKeys = () => NUMBER_KEYS;

/** Keys for a whole number, such as a tool's. */
export const wholeKeys = () => WHOLE_KEYS;

/**
 * Keys for a slot label: the letters that the machine's family uses,
 * the digits, and a point if any label has one.
 */
export function labelKeys(family) {
  const characters = new Set(family.join('').toUpperCase());
  const letters = [...characters]
    .filter(character => !/[0-9.]/.test(character) && character.trim() !== '')
    .sort();
  return [
    ...letters,
    '7',
    '8',
    '9',
    '4',
    '5',
    '6',
    '1',
    '2',
    '3',
    '0',
    ...(characters.has('.') ? ['point'] : []),
    'erase',
  ];
}

/**
 * What a key does to a text: signs stand in front and replace each other,
 * erase takes the last character, clear all of it.
 */
export function pressed(text, key) {
  if (key === 'erase') return text.slice(0, -1);
  if (key === 'clear') return '';
  if (key === 'minus' || key === 'plus') return (key === 'minus' ? MINUS : '+') + text.replace(/^[+\-−]/, '');
  if (key === 'point') return `${text}.`;
  return text + key;
}

/** The keypad; `write(change)` is given a function from the old text to the new. */
export function keypad(keys, write, kind = '') {
  return el(
    'div',
    {
      class: `keypad ${kind}`,
      role: 'group',
      data: {letters: keys.filter(key => /^[^0-9.]$/.test(key)).length},
      'aria-label': say('tablet.keypad.name'),
    },
    keys.map(key =>
      el(
        'button',
        {
          type: 'button',
          class: `key key-${/^[0-9]$/.test(key) ? 'digit' : key.length > 1 ? key : 'letter'}`,
          'aria-label': key.length > 1 ? say(`tablet.key.${key}`) : null,
          data: {key, action: `key-${key}`},
          press: () => write(text => pressed(text, key)),
        },
        key === 'erase' ? eraseSign() : ({minus: MINUS, plus: '+', point: '.', clear: 'C'}[key] ?? key),
      ),
    ),
  );
}

const eraseSign = () =>
  svg(
    'svg',
    {viewBox: '0 0 34 24', class: 'key-sign', 'aria-hidden': 'true'},
    svg('path', {d: 'M11 3H31V21H11L3 12ZM16 8.5l8 7M24 8.5l-8 7'}),
  );

/**
 * Let a hardware keyboard write while the focus is elsewhere.
 * Enter presses the primary action on every screen.
 */
export function hardwareKeys(write, allowed) {
  return event => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest?.('input, textarea, select')) {
      return;
    }
    const key =
      {
        Backspace: 'erase',
        Delete: 'clear',
        '-': 'minus',
        [MINUS]: 'minus',
        '+': 'plus',
        '.': 'point',
        ',': 'point',
      }[event.key] ?? event.key.toUpperCase();
    if (!allowed.includes(key)) return;
    event.preventDefault();
    write(text => pressed(text, key));
  };
}
