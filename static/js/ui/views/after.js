/** After signing: what the signature is worth so far, what happens next, how the machine is handed on. */
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {hasSeveral} from '../../rules/shop/fixtures.js';
import {notice} from '../text.js';
import {questionBlock} from '../steps/compare.js';
import {review, slotLeft, valuesTable} from '../steps/finish.js';
import {signStep} from '../steps/sign.js';
import {around} from './step.js';

export function afterView(tablet) {
  const {setup} = tablet;
  const {state} = setup;
  const signature = state.signatures.at(-1);
  if (signature?.state === 'refused' && state.status !== 'signed_off') return signAgain(tablet);
  const stand =
    state.status === 'signed_off' || state.status === 'not_accepted'
      ? state.status
      : (signature?.state ?? 'on_device');
  const another = {label: say('tablet.after.another'), action: 'another', press: () => tablet.leaveSetup()};
  const next = state.broken_off?.to ? setup.nameOf(state.broken_off.to) : null;
  return {
    name: 'after',
    kind: 'after',
    title: say(`tablet.after.title_${stand}`),
    ...around(tablet),
    left: [
      el(
        'div',
        {class: `signature ${stand}`, data: {signature: stand}},
        el(
          'span',
          {class: 'verdict-sign', 'aria-hidden': 'true'},
          stand === 'on_device' ? '…' : stand === 'not_accepted' ? '×' : '=',
        ),
        el(
          'div',
          {},
          el('p', {class: 'verdict-word'}, say(`tablet.after.${stand}`)),
          el('p', {}, setup.personName),
        ),
      ),
      state.redo
        ? notice('stop', redoSentence(setup, state.redo))
        : el('p', {class: 'lead'}, say(`tablet.after.next_${stand}`, {lead: setup.lead})),
      hasSeveral(setup.sheet) &&
        state.outcome === 'complete' &&
        notice(
          'plain',
          say('tablet.after.of_fixture', {slot: setup.slotLabel, fixture: setup.sheet.fixture.name}),
        ),
      answersSince(setup, signature),
      notice('plain', say(handedOn(state), {machine: setup.machine.name})),
    ],
    right: [slotLeft(setup) ?? [valuesTable(setup), mayBeUsed(setup, stand)], review(setup)],
    go: next
      ? {
          label: say('tablet.handing.begin', {name: next}),
          action: 'begin-next',
          press: () => tablet.beginNext(),
        }
      : another,
    beside: next ? [button(another.label, another.action, another.press)] : [],
  };
}

/** May this slot be used? Whoever asks here is told what is known, and whose word counts. */
function mayBeUsed({state, slotLabel: slot}, stand) {
  if (state.broken_off || state.not_usable || state.redo) return null;
  return el('p', {class: 'may-use'}, say(`tablet.after.use_${stand}`, {slot}));
}

/** How the machine is handed on, as the board will say it. */
function handedOn({probe_in_spindle: inSpindle, worries}) {
  if (inSpindle) return 'tablet.after.board_probe';
  return worries.some(({about, closed}) => about !== null && closed === null)
    ? 'tablet.after.board_worry'
    : 'tablet.after.board_stowed';
}

/** What the lead wants done again, in the lead's own words. */
function redoSentence(setup, {why, axis, reason, by}) {
  return say(`tablet.redo.${why}`, {
    by: setup.nameOf(by) ?? say('tablet.question.the_lead'),
    axis: axis ?? '',
    slot: setup.slotLabel,
    reason,
  });
}

/** Answers that came after the signature: nothing else on this screen would tell them. */
function answersSince(setup, signature) {
  const later = setup.state.questions.filter(
    ({answer}) => answer && answer.at_utc > (signature?.at_utc ?? ''),
  );
  return later.map(question => questionBlock(question, setup));
}

function signAgain(tablet) {
  const {setup} = tablet;
  const step = setup.stages.flatMap(({steps}) => steps).find(({kind}) => kind === 'sign');
  const screen = signStep({
    tablet,
    setup,
    step,
    commit: (type, data, pin) => tablet.act(() => setup.commit(type, data, step.id, pin)),
  });
  return {
    name: 'step',
    step: step.id,
    kind: 'sign',
    title: setup.fill(step.do),
    ...around(tablet),
    ...screen,
    beside: [button(say('tablet.after.later'), 'later', () => tablet.leaveUnsigned())],
  };
}
