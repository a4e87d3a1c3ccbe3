/**
 * Signing with a PIN: a real password field (paste and password managers work),
 * shown on request, sealed for the server at once.
 */
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {machineState, notice, stepText} from '../text.js';

export function signStep({tablet, setup, step, commit}) {
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
  const press = () => {
    const pin = input.value;
    if (pin === '') return refused.replaceChildren(notice('ask', say('tablet.sign.nothing_typed')));
    input.value = '';
    return commit('setup.signed', {meaning: 'performed'}, pin);
  };
  const before = setup.state.signatures.at(-1);
  return {
    strip: machineState(setup, step),
    left: [
      before?.state === 'refused' &&
        notice('stop', [
          say(`tablet.sign.refused_${before.refused_because}`, {lead: setup.lead}),
          triesLeft(before),
        ]),
      el(
        'div',
        {class: 'signing plate'},
        el('label', {for: 'pin'}, say('tablet.sign.pin_of', {name: setup.personName})),
        el('div', {class: 'pin-line'}, input, show),
        refused,
      ),
    ],
    right: [
      el('p', {class: 'lead'}, say('tablet.sign.meaning')),
      stepText(setup, step),
      el(
        'div',
        {class: 'ways'},
        button(say('tablet.unsigned.button'), 'leave-unsigned', () => tablet.leaveUnsigned()),
      ),
    ],
    go: {label: before?.state === 'refused' ? say('tablet.sign.again') : step.action, press},
  };
}

/** How many tries are left before the next one has to wait, as the server said. */
function triesLeft({refused_because: because, tries_left: left}) {
  if (because !== 'wrong_pin' || left === null) return null;
  return [' ', say(left === 1 ? 'tablet.sign.try_left' : 'tablet.sign.tries_left', {count: left})];
}
