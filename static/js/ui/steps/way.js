/**
 * The way to a face: over it with Z at its top, then down beside it.
 * The drawing shows where; the plates what the control reads there.
 */
import {el} from '../dom.js';
import {machineState, stepText} from '../text.js';
import {picture, wayPlates} from './search.js';

export function wayStep(context) {
  const {setup, step, commit} = context;
  const axis = setup.axis(step.axis);
  return {
    strip: machineState(setup, step),
    left: [picture(context), wayPlates(axis, step, setup)],
    right: el('div', {class: 'big-says'}, stepText(setup, step)),
    go: {label: step.action, press: () => commit('step.done', {answer: 'done'})},
  };
}
