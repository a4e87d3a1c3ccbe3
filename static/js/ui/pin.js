/**
 * A field for a PIN: a real password field (paste and password managers work),
 * shown on request, emptied when it is taken.
 */
import {button, el} from './dom.js';
import {say} from './say.js';
import {notice} from './text.js';

/** {element, value(), take(), refuse(text, kind)}; Enter presses the primary action, as everywhere. */
export function pinField(label) {
  const refused = el('div', {id: 'refused', 'aria-live': 'assertive'});
  const input = el('input', {
    type: 'password',
    inputmode: 'numeric',
    autocomplete: 'current-password',
    id: 'pin',
    name: 'pin',
    class: 'pin',
    'aria-describedby': 'refused',
    data: {entry: 'pin'},
  });
  const show = button(say('tablet.sign.show'), 'show-pin', () => {
    const hidden = input.type === 'password';
    input.type = hidden ? 'text' : 'password';
    show.textContent = say(hidden ? 'tablet.sign.hide' : 'tablet.sign.show');
  });
  return {
    element: el(
      'div',
      {class: 'signing plate'},
      el('label', {for: 'pin'}, label),
      el('div', {class: 'pin-line'}, input, show),
      refused,
    ),
    value: () => input.value,
    take: () => {
      const {value} = input;
      input.value = '';
      return value;
    },
    refuse: (text, kind = 'ask') => refused.replaceChildren(notice(kind, text)),
  };
}
