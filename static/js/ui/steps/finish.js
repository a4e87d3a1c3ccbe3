/**
 * Before signing: what was skipped, asked and held, and the values.
 * A setup that was broken off says why first.
 */
import {isParked} from '../../rules/touch/compare.js';
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {rows} from '../choices.js';
import {written} from '../numbers.js';
import {machineState, notice, ownWords, stepText} from '../text.js';

const REASONS = [
  'stop_verdict',
  'machine',
  'vise',
  'probe',
  'out_of_time',
  'wrong_slot',
  'practice',
  'other',
];

export function finishStep(context) {
  const {setup, step, commit} = context;
  const {broken_off: broken} = setup.state;
  if (broken && broken.reason === null)
    return setup.draft.reason ? inOwnWords(context) : whyBrokenOff(context);
  return {
    strip: machineState(setup, step),
    left: review(setup),
    right: [slotLeft(setup) ?? valuesTable(setup), stepText(setup, step)],
    go: {
      label: step.action,
      press: () => commit('setup.finished', {outcome: broken ? 'broken_off' : 'complete'}),
    },
  };
}

function whyBrokenOff({setup, step, commit, again}) {
  const pick = id => {
    if (id !== 'other') return commit('break.explained', {reason: id, text: ''});
    setup.keepDraft({...setup.draft, reason: id});
    return again();
  };
  return {
    title: say('tablet.break.why'),
    strip: machineState(setup, step),
    left: el('p', {class: 'lead'}, say('tablet.break.why_lead')),
    right: rows(
      REASONS.map(id => ({id, label: say(`tablet.break.reason_${id}`)})),
      pick,
      {action: 'break-reason', kind: 'pairs'},
    ),
  };
}

/** Something else: why, in one's own words if there are any. */
function inOwnWords({setup, step, commit, again}) {
  const {reason} = setup.draft;
  const own = ownWords(setup, 'words', say('tablet.break.words'));
  return {
    title: say('tablet.break.why'),
    strip: machineState(setup, step),
    left: el('p', {class: 'lead'}, say('tablet.break.words_lead')),
    right: [
      own.parts,
      button(say('tablet.break.another_reason'), 'another-reason', () => {
        setup.keepDraft({...setup.draft, reason: null});
        again();
      }),
    ],
    go: {
      label: say('tablet.break.words_go'),
      action: 'break-words',
      press: () => commit('break.explained', {reason, text: own.words()}),
    },
  };
}

/**
 * Broken off once the old values were copied down:
 * the slot may be cleared or half set, which the next program would not know.
 */
export function slotLeft({
  state: {broken_off: broken, copied, slot, values_nm: values, zeroed, not_usable: notUsable},
  machine,
  sheet,
}) {
  const stands = isParked(sheet) ? 'parked' : 'zero';
  if (notUsable)
    return notice(
      'stop',
      say(zeroed ? `tablet.finish.not_usable_${stands}` : 'tablet.finish.not_usable', {
        slot: notUsable.slot ?? '',
        axes: notUsable.axes.join(', '),
      }),
    );
  if (zeroed) return notice('stop', say(`tablet.finish.slot_${stands}`, {slot}));
  if (!broken || !copied || Object.values(values).every(value => value !== null)) return null;
  const old = Object.entries(copied.values_nm)
    .map(([axis, nm]) => `${axis} ${written(nm, machine)}`)
    .join(', ');
  return notice('stop', say('tablet.finish.slot_left', {slot, old, unit: machine.unit}));
}

/** The list of what a reader of the record would ask about; a line that has nothing to tell says so. */
export function review(setup) {
  const {state} = setup;
  const skipped = Object.entries(state.steps)
    .filter(([, {state: is}]) => is === 'skipped')
    .map(([id]) => setup.step(id));
  const unanswered = state.questions.filter(({answer}) => !answer).length;
  /** @type {(code: string, count: number|string, note?: ?string) => HTMLElement} */
  const line = (code, count, note = null) =>
    el(
      'li',
      {},
      el('span', {}, say(code)),
      el('b', {class: 'figures'}, String(count)),
      note && el('small', {}, note),
    );
  return el(
    'ul',
    {class: 'review'},
    state.broken_off &&
      line('tablet.finish.broken_off', '×', say(`tablet.break.reason_${state.broken_off.reason}`)),
    line('tablet.finish.skipped', skipped.length, skipped.length > 0 ? skippedStages(setup, skipped) : null),
    line(
      'tablet.finish.asked',
      state.questions.length,
      unanswered > 0 ? say('tablet.finish.unanswered', {count: unanswered}) : null,
    ),
    line('tablet.finish.worries', state.worries.length),
    line('tablet.finish.held', state.holds.length, say('tablet.finish.held_note')),
    line('tablet.finish.corrected', state.corrections.length),
  );
}

const skippedStages = (setup, skipped) =>
  [...new Set(skipped.map(step => setup.stageOf(step.id).title))].join(' · ');

/** The final values, each with its verdict. */
export function valuesTable(setup) {
  const {values_nm: values, touches} = setup.state;
  return el(
    'table',
    {class: 'sums plate'},
    el(
      'tbody',
      {},
      Object.keys(values).map(axis => {
        const kept = touches.filter(touch => touch.axis === axis && touch.kept).at(-1);
        return el(
          'tr',
          {},
          el(
            'th',
            {scope: 'row'},
            axis,
            kept && el('span', {class: `tag ${kept.verdict}`}, say(`tablet.verdict.tag_${kept.verdict}`)),
          ),
          el(
            'td',
            {class: 'figures'},
            values[axis] === null
              ? say('tablet.finish.no_value')
              : [written(values[axis], setup.machine), el('span', {class: 'plate-unit'}, setup.machine.unit)],
          ),
        );
      }),
    ),
  );
}
