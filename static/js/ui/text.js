/**
 * What a step says: look for, if not; the state of the machine before a hand goes in;
 * and why, folded away until asked for.
 */
import {el} from './dom.js';
import {say} from './say.js';

export function stepText(setup, step) {
  const line = (label, text) =>
    text && el('div', {}, el('dt', {}, say(label)), el('dd', {}, setup.fill(text)));
  return el(
    'dl',
    {class: 'says'},
    line('tablet.step.look_for', step.look_for),
    line('tablet.step.if_not', step.if_not),
  );
}

/** The state that the machine must be in, and beside it the reason of the step on request. */
export function machineState(setup, step) {
  const reason = el('p', {class: 'why', id: 'why', hidden: true}, setup.fill(step.why));
  const toggle = el(
    'button',
    {
      type: 'button',
      class: 'why-button',
      'aria-expanded': 'false',
      'aria-controls': 'why',
      data: {action: 'why'},
      press: () => {
        reason.hidden = !reason.hidden;
        toggle.setAttribute('aria-expanded', String(!reason.hidden));
      },
    },
    say('tablet.step.why'),
  );
  return el(
    'div',
    {class: 'strip state'},
    el(
      'p',
      {},
      el('span', {class: 'strip-label'}, say('tablet.step.machine_state')),
      ' ',
      setup.fill(step.machine_state),
    ),
    step.why && [toggle, reason],
  );
}

/** Slots that an earlier setup left half set, a mark and a sentence; nothing where there is none. */
export const halfSet = (kind, sentence) =>
  el('p', {class: `half ${kind}`}, el('span', {class: 'half-mark', 'aria-hidden': 'true'}), ' ', sentence);

/**
 * A field for a person's own words, and a label over it. What is typed lives in the draft of the step
 * that is open, under `name`, so that a reload brings it back; `words()` gives it, `forget()` lets go
 * of it once it is kept.
 * @param {?string} [describedBy] the id of what says that it was refused
 */
export function ownWords(setup, name, label, describedBy = null) {
  const field = el('textarea', {
    id: name,
    rows: '3',
    maxlength: '1000',
    'aria-describedby': describedBy,
    data: {words: name},
    on: {input: event => setup.keepDraft({...setup.draft, [name]: event.target.value})},
  });
  field.value = setup.draft[name] ?? '';
  return {
    parts: [el('label', {for: name, class: 'label'}, label), field],
    words: () => field.value.trim(),
    forget: () => {
      const {[name]: _, ...rest} = setup.draft;
      setup.keepDraft(rest);
    },
  };
}

/** A notice that stays: what was typed, what was expected, what to do. `kind` is 'ask', 'stop' or 'plain'. */
export const notice = (kind, ...content) =>
  el('div', {class: `notice ${kind}`, role: kind === 'plain' ? null : 'alert'}, content);
