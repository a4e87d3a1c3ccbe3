/** What a step says: look for, if not, and why folded away; and the state of the machine before a hand goes in. */
import {el} from './dom.js';
import {say} from './say.js';

export function stepText(setup, step) {
  const line = (label, text) => text && el('div', {}, el('dt', {}, say(label)), el('dd', {}, setup.fill(text)));
  return [
    el('dl', {class: 'says'}, line('tablet.step.look_for', step.look_for), line('tablet.step.if_not', step.if_not)),
    why(setup, step),
  ];
}

export const why = (setup, step) => step.why && el('details', {class: 'why'},
  el('summary', {data: {action: 'why'}}, say('tablet.step.why')), el('p', {}, setup.fill(step.why)));

export const machineState = (setup, step) => step.machine_state && el('p', {class: 'strip state'},
  el('span', {class: 'strip-label'}, say('tablet.step.machine_state')), ' ', setup.fill(step.machine_state));

/** A notice that stays: what was typed, what was expected, what to do. `kind` is 'ask', 'stop' or 'plain'. */
export const notice = (kind, ...content) => el('div', {class: `notice ${kind}`, role: kind === 'plain' ? null : 'alert'}, content);
