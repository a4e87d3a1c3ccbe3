/**
 * The comparison: verdict in word and sign, how far the touch lies from the usual, and what can be done now.
 * A value past a line is read once more before anything is said of it. `agrees` goes on; `ask` goes on once a
 * question has been put; after a `stop` there is one more touch, then the lead alone. The number that would
 * fit stands nowhere.
 */
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {shown, written, distance} from '../numbers.js';
import {causesBlock} from './causes.js';
import {machineState} from '../text.js';
import {clockTime} from '../when.js';
import {enteredOtherwise, readAgainStep} from './touch.js';

const SIGNS = {agrees: '=', ask: '?', stop: '×'};

export function compareStep(context) {
  const {setup, step, commit, open, breakOff, tablet} = context;
  if (setup.state.blocked?.code === 'setup.compare_needs_reading') return readAgainStep(context);
  const touches = setup.state.touches.filter(({axis}) => axis === step.axis);
  const touch = touches.at(-1);
  const axis = setup.axis(step.axis);
  const asked = questionsSince(setup, touch);
  const because = setup.state.keep_because;
  const answer = asked.filter(question => question.answer).at(-1)?.answer ?? null;
  const toEnter = enteredOtherwise(setup, step.axis);
  const again = () => commit('touch.repeated', {axis: step.axis});
  const keep = () => commit('touch.kept', {axis: step.axis, because});
  const ask = button(say('tablet.compare.put_question'), 'put-question', () =>
    open({name: 'question', axis: step.axis}),
  );
  const both = setup.state.blocked?.code === 'setup.compare_needs_question' && touch.reading > 1;
  const askAndKeep = () =>
    tablet.act(async () => {
      const [first] = touches.filter(({reading}) => reading === 1).slice(-1);
      const text =
        toEnter === null
          ? say('tablet.compare.two_readings_ask', {axis: step.axis, first: first.typed, second: touch.typed})
          : say('tablet.by_hand.ask', {
              axis: step.axis,
              surface: written(toEnter, setup.machine),
              first: first.typed,
              second: touch.typed,
            });
      await setup.commit('question.put', {question: crypto.randomUUID(), axis: step.axis, text});
      return setup.commit('touch.kept', {axis: step.axis, because: 'question'});
    });
  const mayTouch = setup.state.may_touch_again;
  const theLeads = setup.state.blocked?.code === 'setup.compare_needs_lead';
  const second =
    (because || both) && mayTouch
      ? button(say('tablet.compare.touch_again', {axis: step.axis}), 'touch-again', again)
      : null;
  return {
    title: say(
      toEnter === null
        ? `tablet.compare.title_${touch.difference_nm === null ? 'first' : touch.verdict}`
        : 'tablet.by_hand.otherwise',
      {axis: step.axis},
    ),
    strip: machineState(setup, step),
    left: [
      verdictBlock(touch, touches, because, {theLeads, mayTouch, toEnter}),
      sums(setup, axis, touch, touches, toEnter),
    ],
    right: [
      asked.map(question => questionBlock(question, setup)),
      causesBlock(setup, axis, touch) ??
        el(
          'dl',
          {class: 'says one'},
          el('div', {}, el('dt', {}, say('tablet.step.if_not')), el('dd', {}, setup.fill(step.if_not))),
        ),
      el(
        'div',
        {class: 'ways'},
        second,
        chipWiped(context, touch, toEnter),
        !answer && !both && (mayTouch || because || !theLeads || asked.length > 0) && ask,
        theLeads && leadWays(context, asked.length > 0 && !mayTouch),
      ),
    ],
    go: both
      ? {label: say('tablet.compare.ask_both'), action: 'ask-both', press: askAndKeep}
      : goOn({
          because,
          answer,
          axis: step.axis,
          keep,
          again,
          breakOff,
          setup,
          theLeads,
          mayTouch,
          open,
          asked,
          giveUp: () => commit('axis.given_up', {axis: step.axis}),
        }),
  };
}

/** Why the axis is touched again, in one tap; null where it may not be, or without a usual to compare. */
function chipWiped({setup, step, commit}, touch, toEnter) {
  if (!setup.state.may_touch_again || toEnter !== null) return null;
  if (touch.verdict === 'agrees' || touch.difference_nm === null) return null;
  return button(say('tablet.compare.chip_wiped', {axis: step.axis}), 'chip-wiped', () =>
    commit('chip.wiped', {axis: step.axis}),
  );
}

/** What the lead alone can do at a stop, and what there is without one. */
export const leadWays = ({step, open, commit}, isPrimary = false) => [
  button(say('tablet.lift.button'), 'lift', () => open({name: 'lift', axis: step.axis})),
  !isPrimary &&
    button(say('tablet.give_up.button'), 'give-up', () => commit('axis.given_up', {axis: step.axis})),
];

function goOn({
  because,
  answer,
  axis,
  keep,
  again,
  breakOff,
  setup,
  theLeads,
  mayTouch,
  open,
  asked,
  giveUp,
}) {
  if (because && answer?.decision !== 'break_off')
    return {label: say(`tablet.compare.keep_${because}`, {axis}), action: 'keep', press: keep};
  if (answer?.decision === 'break_off' && setup.state.probe_in_spindle)
    return {label: say('tablet.break.button'), action: 'break-off', press: breakOff};
  if (mayTouch)
    return {label: say('tablet.compare.touch_again', {axis}), action: 'touch-again', press: again};
  if (theLeads && asked.length > 0)
    return {label: say('tablet.give_up.button'), action: 'give-up', press: giveUp};
  return {
    label: say('tablet.compare.put_question'),
    action: 'put-question',
    press: () => open({name: 'question', axis}),
  };
}

/** Questions about this axis that were put after its last touch. */
function questionsSince(setup, touch) {
  const order = setup.rows.map(({id}) => id);
  return setup.state.questions.filter(
    ({axis, event}) => axis === touch.axis && order.indexOf(event) > order.indexOf(touch.event),
  );
}

function verdictBlock(touch, touches, because, {theLeads, mayTouch, toEnter}) {
  const otherwise = toEnter !== null && touch.verdict === 'agrees';
  const told = otherwise ? 'ask' : touch.verdict;
  const judged = otherwise
    ? 'otherwise'
    : touch.difference_nm === null
      ? 'first'
      : touch.reading > 1 && !theLeads
        ? 'readings'
        : theLeads && !mayTouch
          ? 'lead'
          : touch.verdict;
  const hint =
    because && because !== 'agrees' ? `tablet.verdict.${judged}_may_go_on` : `tablet.verdict.${judged}_do`;
  return el(
    'div',
    {class: `verdict ${told}`, data: {verdict: told}},
    el('span', {class: 'verdict-sign', 'aria-hidden': 'true'}, SIGNS[told]),
    el(
      'div',
      {},
      el('p', {class: 'verdict-word'}, say(`tablet.verdict.${told}`)),
      el('p', {}, say(hint, {count: touches.length})),
    ),
  );
}

function sums(setup, axis, touch, touches, toEnter) {
  const {usual} = axis;
  const {machine} = setup;
  const row = (label, value, kind = '', unit = null) =>
    el(
      'tr',
      {class: kind},
      el('th', {scope: 'row'}, label),
      el('td', {class: 'figures'}, value, unit && el('span', {class: 'plate-unit'}, unit)),
    );
  const line = nm => `±${distance(nm, machine).value}`;
  const difference = touch.difference_nm === null ? null : shown(touch.difference_nm, machine);
  return el(
    'table',
    {class: 'sums plate'},
    el(
      'tbody',
      {},
      toEnter !== null && row(say('tablet.by_hand.to_enter'), written(toEnter, machine), '', machine.unit),
      touch.reading > 1 &&
        row(say('tablet.compare.read_first'), written(touches.at(-2).value_nm, machine), '', machine.unit),
      row(
        say(touch.reading > 1 ? 'tablet.compare.read_second' : 'tablet.compare.read'),
        written(touch.value_nm, machine),
        '',
        machine.unit,
      ),
      usual.centre_nm === null && row(say('tablet.compare.usual_none'), '–'),
      usual.centre_nm !== null &&
        touch.verdict === 'agrees' &&
        touch.reading === 1 &&
        row(
          say(usual.values === 1 ? 'tablet.compare.usual_one' : 'tablet.compare.usual', {
            count: usual.values,
          }),
          written(usual.centre_nm, machine),
          '',
          machine.unit,
        ),
      difference && row(say('tablet.compare.difference'), difference.value, 'total', machine.unit),
      difference && row('', difference.other, 'small'),
      usual.centre_nm !== null &&
        row(
          say('tablet.compare.lines'),
          `${line(usual.ask_nm)} · ${line(usual.stop_nm)}`,
          'small lines',
          machine.unit,
        ),
    ),
  );
}

export function questionBlock({text, at_utc: at, answer}, setup) {
  return el(
    'div',
    {class: `question ${answer ? 'answered' : ''}`},
    el(
      'p',
      {class: 'label'},
      say(answer ? 'tablet.question.put_at' : 'tablet.question.waits', {time: clockTime(at)}),
    ),
    el('p', {class: 'own-words'}, text),
    answer && [
      el(
        'p',
        {class: 'label'},
        say('tablet.question.answered', {
          by: setup.nameOf(answer.by) ?? say('tablet.question.the_lead'),
          time: clockTime(answer.at_utc),
        }),
      ),
      el('p', {}, el('b', {}, say(`tablet.decision.${answer.decision}`)), ' ', answer.reason),
    ],
  );
}
