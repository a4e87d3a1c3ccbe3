/**
 * The step that is due, by its kind;
 * beside its one primary action always the same: hold, something is off, break off.
 */
import {hasSeveral} from '../../rules/shop/fixtures.js';
import {button, el} from '../dom.js';
import {written} from '../numbers.js';
import {photoOffer} from '../photo.js';
import {plate} from '../plate.js';
import {stepPicture} from '../step_picture.js';
import {say} from '../say.js';
import {scale} from '../scale.js';
import {notice} from '../text.js';
import {clockTime} from '../when.js';
import {boardStep} from '../steps/board.js';
import {cautionStep} from '../steps/caution.js';
import {checksStep} from '../steps/checks.js';
import {clearStep} from '../steps/clear.js';
import {companyStep, companyStrip} from '../steps/company.js';
import {compareStep, leadWays} from '../steps/compare.js';
import {confirmStep} from '../steps/confirm.js';
import {copyStep} from '../steps/copy.js';
import {finishStep} from '../steps/finish.js';
import {searchStep} from '../steps/search.js';
import {signStep} from '../steps/sign.js';
import {holdsMs, inputOldStep, inputOldStrip} from '../steps/input_old.js';
import {leftHalfSet, slotStep} from '../steps/slot.js';
import {squareStep} from '../steps/square.js';
import {toolStep} from '../steps/tool.js';
import {touchStep} from '../steps/touch.js';
import {wayStep} from '../steps/way.js';
import {zeroStep} from '../steps/zero.js';

const KINDS = {
  caution: cautionStep,
  board: boardStep,
  confirm: confirmStep,
  checks: checksStep,
  jaw: confirmStep,
  input: confirmStep,
  tool_in: toolStep,
  tool_out: toolStep,
  slot: slotStep,
  copy: copyStep,
  clear: clearStep,
  zero: zeroStep,
  over: wayStep,
  lower: wayStep,
  search: searchStep,
  touch: touchStep,
  square: squareStep,
  compare: compareStep,
  finish: finishStep,
  sign: signStep,
};

/** Events that come between and close no step. */
const BETWEEN = new Set([
  'hold.pressed',
  'worry.raised',
  'question.put',
  'setup.resumed',
  'photo.taken',
  'beside.named',
]);

export function stepView(tablet) {
  const {setup} = tablet;
  const step = setup.current;
  const context = {
    tablet,
    setup,
    step,
    commit: (type, data, pin) => tablet.act(() => setup.commit(type, data, step.id, pin)),
    open: view => tablet.go(view),
    again: () => tablet.refresh(),
    breakOff: () => breakOff(tablet),
  };
  const holds = ['search', 'square', 'touch'].includes(step.kind) ? holdsMs(setup) : null;
  tablet.lookAgainIn(holds);
  const old = holds !== null && holds < 0;
  const asks = setup.state.beside_waits_for !== null;
  const screen = asks
    ? companyStep(context)
    : old && (step.kind === 'search' || (step.kind === 'square' && !setup.draft.set))
      ? inputOldStep(context)
      : setup.state.blocked?.code === 'setup.search_needs_lead'
        ? nothingTwice(context)
        : KINDS[step.kind](context);
  return {
    name: 'step',
    step: step.id,
    kind: step.kind,
    title: setup.fill(step.do),
    ...around(tablet),
    ...screen,
    right: asks
      ? screen.right
      : withPictures(stepPicture(tablet, step), screen.right, photoOffer(tablet, step)),
    strip: [
      undoStrip(tablet),
      answerStrip(setup),
      checkStrip(setup, step, tablet.clock),
      agreedStrip(tablet, step),
      carriedStrip(setup),
      companyStrip(setup, step),
      squareStrip(setup, step),
      nextStrip(setup, step),
      old && step.kind === 'touch' && inputOldStrip(setup, raiseButton(tablet, step)),
      screen.strip,
      againStrip(tablet, step),
    ],
    beside: beside(tablet),
  };
}

/** The picture that a step shows stands before the rest, the offer to take one behind it. */
const withPictures = (picture, right, offer) => (picture || offer ? [picture, right || null, offer] : right);

/** The search found nothing twice: it waits for the lead. */
function nothingTwice(context) {
  const {setup, step, open} = context;
  return {
    kind: 'search-waits',
    title: say('tablet.trouble.twice_title', {axis: step.axis}),
    left: [notice('stop', say('tablet.trouble.twice', {lead: setup.lead}))],
    right: el('div', {class: 'ways'}, leadWays(context)),
    go: {
      label: say('tablet.compare.put_question'),
      action: 'put-question',
      press: () => open({name: 'question', axis: step.axis}),
    },
  };
}

const raiseButton = (tablet, step) =>
  button(say('tablet.input_old.raised'), 'raised', () =>
    tablet.act(() => tablet.setup.commit('input.aged', {}, step.id)),
  );

/** Scale and where-line of a running setup. */
export function around(tablet) {
  const {setup} = tablet;
  const {state, machine, sheet} = setup;
  const reached = new Set(
    setup.stages
      .filter(({steps}) => steps.some(({id}) => state.steps[id]?.state === 'done'))
      .map(({id}) => id),
  );
  return {
    scale: scale({
      stages: setup.stages,
      currentStep: state.current_step,
      reached,
      open: stage => tablet.go({name: 'read', stage}),
      openAll: () => tablet.go({name: 'read', stage: null}),
    }),
    where: [
      el('b', {}, machine.name),
      ' · ',
      el(hasSeveral(sheet) ? 'b' : 'span', {}, sheet.fixture.name),
      setup.current?.kind !== 'slot' && setup.slotLabel && [' · ', el('b', {}, setup.slotLabel)],
      ` · ${setup.personName}`,
    ],
  };
}

/** What stands beside the primary action on every screen of a setup. */
export function beside(tablet) {
  const {setup} = tablet;
  const {state} = setup;
  const holds = state.holds.length;
  const stowing = ['stow', 'sign'].includes(setup.stageOf(state.current_step)?.id);
  const hold = () =>
    tablet.act(
      async () => {
        await setup.commit('hold.pressed', {});
        tablet.say(say('tablet.hold.noted'));
        // Behind the review nothing is moved by this list any more, and no way leads back into it.
        tablet.view = state.outcome === null ? {name: 'trouble'} : {name: 'step'};
      },
      {stay: true, fresh: true},
    );
  return [
    button(
      holds > 0 ? say('tablet.hold.button_count', {count: holds}) : say('tablet.hold.button'),
      'hold',
      hold,
    ),
    button(say('tablet.off.button'), 'off', () => tablet.go({name: 'off'})),
    state.may_leave && button(say('tablet.leave.button'), 'leave', () => leave(tablet)),
    (state.probe_in_spindle || setup.current?.kind === 'tool_in') &&
      !state.broken_off &&
      !stowing &&
      button(say('tablet.break.button'), 'break-off', () => breakOff(tablet)),
  ].filter(Boolean);
}

/** Begun by mistake, or by the wrong person: nothing was done, so nothing is left behind. */
const leave = tablet =>
  tablet.act(async () => {
    await tablet.setup.commit('setup.left', {});
    await tablet.leaveSetup();
  });

export const breakOff = tablet => tablet.act(() => tablet.setup.commit('setup.broken_off', {}));

/** Broken off by mistake: the way back stays until the next step is closed. */
function undoStrip(tablet) {
  const {setup} = tablet;
  const {broken_off: broken, probe_in_spindle: inSpindle} = setup.state;
  if (!broken || !setup.state.break_can_be_undone) return null;
  return el(
    'div',
    {class: 'strip undo'},
    el('span', {}, say(inSpindle ? 'tablet.break.done' : 'tablet.break.done_no_probe')),
    button(say('tablet.break.undo'), 'break-undo', () => tablet.act(() => setup.commit('break.undone', {}))),
  );
}

/** What the control is to show at a step that asks for it without saying it. */
const TO_CALL = {
  tool_in: ({machine}) => machine.probe_tool,
  tool_out: ({machine}) => machine.parking_tool,
  slot: setup => setup.slotLabel,
};

/** Said on the step before: what to call or select next. */
function nextStrip(setup, step) {
  const next = after(setup, step);
  if (!next || !TO_CALL[next.kind]) return null;
  return [
    plate(say(`tablet.next.${next.kind}`), {value: TO_CALL[next.kind](setup)}, 'next'),
    next.kind === 'slot' && leftHalfSet(setup.ownSlots),
  ];
}

/** The way back to it opens the step before again, which is recorded. */
function againStrip(tablet, step) {
  const {setup} = tablet;
  const before = TO_CALL[step.kind] && neighbour(setup, step, -1);
  if (!before || setup.state.steps[before.id].state !== 'done' || before.kind === 'caution') return null;
  const reason = say('tablet.next.again_reason');
  return el(
    'div',
    {class: 'strip again'},
    button(say('tablet.next.again'), 'show-again', () =>
      tablet.act(() => setup.commit('step.reopened', {reopened: before.id, reason})),
    ),
  );
}

const neighbour = (setup, step, by) => {
  const steps = setup.stages.flatMap(stage => stage.steps);
  return steps[steps.findIndex(({id}) => id === step.id) + by] ?? null;
};

/** The next step that is still to be done. */
function after(setup, step) {
  const steps = setup.stages.flatMap(stage => stage.steps);
  return (
    steps
      .slice(steps.findIndex(({id}) => id === step.id) + 1)
      .find(({id}) => setup.state.steps[id]?.state === 'open') ?? null
  );
}

/**
 * A touch that agreed was kept without a screen of its own: said on the next one, with the way back to it.
 */
function agreedStrip(tablet, step) {
  const {setup} = tablet;
  const last = setup.rows
    .filter(({payload}) => payload.step !== null && !BETWEEN.has(payload.type))
    .at(-1)?.payload;
  if (last?.type !== 'touch.kept' || last.data.because !== 'agrees' || last.step === step.id) return null;
  const {axis} = last.data;
  const touched = setup.stages
    .flatMap(({steps}) => steps)
    .find(one => one.kind === 'touch' && one.axis === axis);
  const value = written(setup.state.values_nm[axis], setup.machine);
  return el(
    'div',
    {class: 'strip agreed'},
    el('span', {}, say('tablet.agreed.says', {axis, value, unit: setup.machine.unit})),
    button(say('tablet.agreed.look'), 'look-again', () =>
      tablet.go({name: 'read', step: touched.id, stage: null}),
    ),
  );
}

/** Cautions that were acknowledged earlier this shift: said on the first step behind them. */
function carriedStrip({rows}) {
  const {type, data} = rows.at(-1).payload;
  return type === 'caution.carried'
    ? el(
        'div',
        {class: 'strip'},
        el('span', {}, say('tablet.shift.carried', {time: clockTime(data.read_at_utc)})),
      )
    : null;
}

/**
 * The probe's check is overdue: said where the probe is called,
 * by the sheet or since then by the server's time as it is known here.
 */
function checkStrip(setup, step, clock) {
  const {check = null, name: probe} = setup.sheet.probe;
  if (!check || setup.stageOf(step.id).id !== 'probe') return null;
  const {due_at_utc: due, overdue} = check;
  if (!overdue && (due === null || clock.trueUtc() < due)) return null;
  const fields = {probe, lead: setup.lead, date: due?.slice(0, 10) ?? ''};
  return notice('ask', say(due === null ? 'tablet.probe.check_never' : 'tablet.probe.check_due', fields));
}

/** What the look for square came to, while the axis that it was done on is touched. */
function squareStrip({state, machine}, step) {
  const found = state.squares.findLast(({axis, stands}) => stands && axis === step.axis);
  if (!found || !['over', 'search'].includes(step.kind)) return null;
  const degrees = (
    (Math.atan2(found.values_nm[1] - found.values_nm[0], found.apart_nm) * 180) /
    Math.PI
  ).toFixed(3);
  const fields = {
    degrees: degrees.replace('-', '−'),
    error: written(found.error_nm, machine),
    unit: machine.unit,
  };
  return el(
    'div',
    {class: `strip angle${found.told ? ' told' : ''}`},
    say(found.told ? 'tablet.square.told' : 'tablet.square.not_told', fields),
  );
}

/** The lead's word that is still to be followed, on whatever step. */
function answerStrip({state: {blocked}, current}) {
  if (blocked?.code === 'setup.lead_says_break_off')
    return notice('stop', say('tablet.lead.break_off', blocked.fields));
  if (blocked?.code === 'setup.lead_says_touch_again' && current.axis !== blocked.fields.axis)
    return notice('ask', say('tablet.lead.touch_again', blocked.fields));
  return null;
}
