/**
 * The comparison: verdict in word and sign, the touch against the usual, and what can be done now. `agrees` goes on; `ask` goes
 * on once a question has been put; `stop` goes on only with the lead's answer, or as `ask` after a touch that agrees with it.
 */
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {shown, written, distance} from '../numbers.js';
import {causesBlock} from './causes.js';
import {machineState} from '../text.js';
import {clockTime} from '../when.js';

const SIGNS = {agrees: '=', ask: '?', stop: '×'};

export function compareStep({setup, step, commit, open, breakOff}) {
  const touches = setup.state.touches.filter(({axis}) => axis === step.axis);
  const touch = touches.at(-1);
  const axis = setup.axis(step.axis);
  const asked = questionsSince(setup, touch);
  const because = setup.state.keep_because;
  const answer = asked.filter(question => question.answer).at(-1)?.answer ?? null;
  const again = () => commit('touch.repeated', {axis: step.axis});
  const keep = () => commit('touch.kept', {axis: step.axis, because});
  const ask = button(say('tablet.compare.put_question'), 'put-question', () => open({name: 'question', axis: step.axis}));
  const second = because ? button(say('tablet.compare.touch_again', {axis: step.axis}), 'touch-again', again) : null;
  return {
    title: say(`tablet.compare.title_${touch.difference_nm === null ? 'first' : touch.verdict}`, {axis: step.axis}),
    strip: machineState(setup, step),
    left: [verdictBlock(touch, touches, because), sums(setup, axis, touch)],
    right: [
      asked.map(question => questionBlock(question, setup)),
      causesBlock(setup, axis, touch) ?? el('dl', {class: 'says one'}, el('div', {}, el('dt', {}, say('tablet.step.if_not')), el('dd', {}, setup.fill(step.if_not)))),
      el('div', {class: 'ways'}, second, !answer && ask),
    ],
    go: goOn({because, answer, axis: step.axis, keep, again, breakOff, setup}),
  };
}

function goOn({because, answer, axis, keep, again, breakOff, setup}) {
  if (because && answer?.decision !== 'break_off') return {label: say(`tablet.compare.keep_${because}`, {axis}), action: 'keep', press: keep};
  if (answer?.decision === 'break_off' && setup.state.probe_in_spindle) return {label: say('tablet.break.button'), action: 'break-off', press: breakOff};
  return {label: say('tablet.compare.touch_again', {axis}), action: 'touch-again', press: again};
}

/** Questions about this axis that were put after its last touch. */
function questionsSince(setup, touch) {
  const order = setup.rows.map(({id}) => id);
  return setup.state.questions.filter(({axis, event}) => axis === touch.axis && order.indexOf(event) > order.indexOf(touch.event));
}

function verdictBlock(touch, touches, because) {
  const judged = touch.difference_nm === null ? 'first' : touch.verdict === 'stop' && touch.repeat_agrees ? 'repeated' : touch.verdict;
  const hint = because && touch.verdict !== 'agrees' ? `tablet.verdict.${judged}_may_go_on` : `tablet.verdict.${judged}_do`;
  return el('div', {class: `verdict ${touch.verdict}`, data: {verdict: touch.verdict}},
    el('span', {class: 'verdict-sign', 'aria-hidden': 'true'}, SIGNS[touch.verdict]),
    el('div', {}, el('p', {class: 'verdict-word'}, say(`tablet.verdict.${touch.verdict}`)), el('p', {}, say(hint, {count: touches.length}))));
}

function sums(setup, axis, touch) {
  const {usual} = axis;
  const {machine} = setup;
  const row = (label, value, kind = '', unit = null) => el('tr', {class: kind},
    el('th', {scope: 'row'}, label), el('td', {class: 'figures'}, value, unit && el('span', {class: 'plate-unit'}, unit)));
  const line = nm => `±${distance(nm, machine).value}`;
  const difference = touch.difference_nm === null ? null : shown(touch.difference_nm, machine);
  return el('table', {class: 'sums plate'}, el('tbody', {},
    row(say('tablet.compare.read'), written(touch.value_nm, machine), '', machine.unit),
    row(usual.centre_nm === null ? say('tablet.compare.usual_none') : say(usual.values === 1 ? 'tablet.compare.usual_one' : 'tablet.compare.usual', {count: usual.values}),
      usual.centre_nm === null ? '–' : written(usual.centre_nm, machine), '', usual.centre_nm === null ? null : machine.unit),
    difference && row(say('tablet.compare.difference'), difference.value, 'total', machine.unit),
    difference && row('', difference.other, 'small'),
    usual.centre_nm !== null && row(say('tablet.compare.lines'), `${line(usual.ask_nm)} · ${line(usual.stop_nm)}`, 'small lines', machine.unit)));
}

export function questionBlock({text, at_utc: at, answer}, setup) {
  return el('div', {class: `question ${answer ? 'answered' : ''}`},
    el('p', {class: 'label'}, say(answer ? 'tablet.question.put_at' : 'tablet.question.waits', {time: clockTime(at)})), el('p', {class: 'own-words'}, text),
    answer && [
      el('p', {class: 'label'}, say('tablet.question.answered', {by: setup.nameOf(answer.by) ?? say('tablet.question.the_lead'), time: clockTime(answer.at_utc)})),
      el('p', {}, el('b', {}, say(`tablet.decision.${answer.decision}`)), ' ', answer.reason),
    ]);
}
