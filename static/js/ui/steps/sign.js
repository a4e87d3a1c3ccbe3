/**
 * Signing with a PIN, sealed for the server at once.
 */
import {button, el} from '../dom.js';
import {pinField} from '../pin.js';
import {say} from '../say.js';
import {machineState, notice, stepText} from '../text.js';

export function signStep({tablet, setup, step, commit}) {
  const pin = pinField(say('tablet.sign.pin_of', {name: setup.personName}));
  const press = () => {
    if (pin.value() === '') return pin.refuse(say('tablet.sign.nothing_typed'));
    return commit('setup.signed', {meaning: 'performed'}, pin.take());
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
      pin.element,
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
