/**
 * Elements without markup strings: text always becomes a text node. Controls of text direction that somebody
 * typed stand in it by name, so that nothing is shown in another order than it was typed in
 * (webapp/domain/plain/directions.py).
 */
const DIRECTIONS = /[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]/g;
const named = control => `[U+${control.codePointAt(0).toString(16).toUpperCase().padStart(4, '0')}]`;
export const shown = child => (typeof child === 'string' ? child.replace(DIRECTIONS, named) : child);

/**
 * An element. `given` holds attributes, plus `press` (what a click does), `class`, `data` and `on`;
 * false and null attributes are left out. Children are nodes, texts, nested lists, or null.
 */
export function el(name, given = {}, ...children) {
  const element = document.createElement(name);
  const {press, data = {}, on = {}, ...attributes} = given;
  for (const [key, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined && value !== false)
      element.setAttribute(key, value === true ? '' : value);
  }
  Object.assign(element.dataset, data);
  for (const [type, listener] of Object.entries(on)) element.addEventListener(type, listener);
  if (press) element.addEventListener('click', press);
  element.append(
    ...children
      .flat(3)
      .filter(child => child !== null && child !== undefined && child !== false)
      .map(shown),
  );
  return element;
}

const SVG = 'http://www.w3.org/2000/svg';

/** An SVG element with presentation attributes. */
export function svg(name, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

/** A button of at least the smallest size; `action` is the stable hook for tests. */
export function button(label, action, press, given = {}) {
  const {data, ...rest} = given;
  return el('button', {type: 'button', press, data: {action, ...data}, ...rest}, label);
}
