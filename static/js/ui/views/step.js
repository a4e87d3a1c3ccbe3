/** The step that is due, by its kind; beside its one primary action always the same: hold, something is off, break off. */
import {button, el} from '../dom.js';
import {written} from '../numbers.js';
import {say} from '../say.js';
import {scale} from '../scale.js';
import {notice} from '../text.js';
import {boardStep} from '../steps/board.js';
import {cautionStep} from '../steps/caution.js';
import {checksStep} from '../steps/checks.js';
import {clearStep} from '../steps/clear.js';
import {compareStep, leadWays} from '../steps/compare.js';
import {confirmStep} from '../steps/confirm.js';
import {copyStep} from '../steps/copy.js';
import {finishStep} from '../steps/finish.js';
import {searchStep} from '../steps/search.js';
import {signStep} from '../steps/sign.js';
import {slotStep} from '../steps/slot.js';
import {squareStep} from '../steps/square.js';
import {toolStep} from '../steps/tool.js';
import {touchStep} from '../steps/touch.js';
import {wayStep} from '../steps/way.js';
import {zeroStep} from '../steps/zero.js';

const KINDS = {
  caution: cautionStep, board: boardStep, confirm: confirmStep, checks: checksStep, jaw: confirmStep, input: confirmStep, tool_in: toolStep, tool_out: toolStep, slot: slotStep, copy: copyStep,
  clear: clearStep, zero: zeroStep, over: wayStep, lower: wayStep, search: searchStep, touch: touchStep, square: squareStep, compare: compareStep, finish: finishStep, sign: signStep,
};

export function stepView(tablet) {
  const {setup} = tablet;
  const step = setup.current;
  const context = {
    tablet, setup, step,
    commit: (type, data, pin) => tablet.act(() => setup.commit(type, data, step.id, pin)),
    open: view => tablet.go(view),
    again: () => tablet.refresh(),
    breakOff: () => breakOff(tablet),
  };
  const screen = setup.state.blocked?.code === 'setup.search_needs_lead' ? nothingTwice(context) : KINDS[step.kind](context);
  return {
    name: 'step', step: step.id, kind: step.kind, title: setup.fill(step.do), ...around(tablet), ...screen,
    strip: [undoStrip(tablet), answerStrip(setup), checkStrip(setup, step, tablet.clock), squareStrip(setup, step), screen.strip], beside: beside(tablet),
  };
}

/** The search found nothing twice: it waits for the lead. */
function nothingTwice(context) {
  const {setup, step, open} = context;
  return {
    kind: 'search-waits', title: say('tablet.trouble.twice_title', {axis: step.axis}),
    left: [notice('stop', say('tablet.trouble.twice', {lead: setup.lead}))], right: el('div', {class: 'ways'}, leadWays(context)),
    go: {label: say('tablet.compare.put_question'), action: 'put-question', press: () => open({name: 'question', axis: step.axis})},
  };
}

/** Scale and where-line of a running setup. */
export function around(tablet) {
  const {setup} = tablet;
  const {state, machine, sheet} = setup;
  const reached = new Set(setup.stages.filter(({steps}) => steps.some(({id}) => state.steps[id]?.state === 'done')).map(({id}) => id));
  return {
    scale: scale({
      stages: setup.stages, currentStep: state.current_step, reached,
      open: stage => tablet.go({name: 'read', stage}), openAll: () => tablet.go({name: 'read', stage: null}),
    }),
    where: [el('b', {}, machine.name), ` · ${sheet.fixture.name}`, setup.slotLabel && [' · ', el('b', {}, setup.slotLabel)], ` · ${setup.personName}`],
  };
}

/** What stands beside the primary action on every screen of a setup. */
export function beside(tablet) {
  const {setup} = tablet;
  const {state} = setup;
  const holds = state.holds.length;
  const stowing = ['stow', 'sign'].includes(setup.stageOf(state.current_step)?.id);
  const hold = () => tablet.act(async () => {
    await setup.commit('hold.pressed', {});
    tablet.say(say('tablet.hold.noted'));
    tablet.view = {name: 'trouble'};
  }, {stay: true, fresh: true});
  return [
    button(holds > 0 ? say('tablet.hold.button_count', {count: holds}) : say('tablet.hold.button'), 'hold', hold),
    button(say('tablet.off.button'), 'off', () => tablet.go({name: 'off'})),
    state.may_leave && button(say('tablet.leave.button'), 'leave', () => leave(tablet)),
    (state.probe_in_spindle || setup.current?.kind === 'tool_in') && !state.broken_off && !stowing && button(say('tablet.break.button'), 'break-off', () => breakOff(tablet)),
  ].filter(Boolean);
}

/** Begun by mistake, or by the wrong person: nothing was done, so nothing is left behind. */
const leave = tablet => tablet.act(async () => {
  await tablet.setup.commit('setup.left', {});
  await tablet.leaveSetup();
});

export const breakOff = tablet => tablet.act(() => tablet.setup.commit('setup.broken_off', {}));

/** Broken off by mistake: the way back stays until the next step is closed. */
function undoStrip(tablet) {
  const {setup} = tablet;
  const {broken_off: broken, probe_in_spindle: inSpindle} = setup.state;
  if (!broken || !setup.state.break_can_be_undone) return null;
  return el('div', {class: 'strip undo'}, el('span', {}, say(inSpindle ? 'tablet.break.done' : 'tablet.break.done_no_probe')),
    button(say('tablet.break.undo'), 'break-undo', () => tablet.act(() => setup.commit('break.undone', {}))));
}

/** The probe's check is overdue: said where the probe is called, by the sheet or since then by the server's time as it is known here. */
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
  if (!found || step.kind !== 'search') return null;
  const degrees = (Math.atan2(found.values_nm[1] - found.values_nm[0], found.apart_nm) * 180 / Math.PI).toFixed(3);
  const fields = {degrees: degrees.replace('-', '−'), error: written(found.error_nm, machine), unit: machine.unit};
  return el('div', {class: `strip angle${found.told ? ' told' : ''}`}, say(found.told ? 'tablet.square.told' : 'tablet.square.not_told', fields));
}

/** The lead's word that is still to be followed, on whatever step. */
function answerStrip({state: {blocked}, current}) {
  if (blocked?.code === 'setup.lead_says_break_off') return notice('stop', say('tablet.lead.break_off', blocked.fields));
  if (blocked?.code === 'setup.lead_says_touch_again' && current.axis !== blocked.fields.axis) return notice('ask', say('tablet.lead.touch_again', blocked.fields));
  return null;
}
