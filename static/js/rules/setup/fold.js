/**
 * A setup as the sum of its events. The twin of webapp/domain/setup/fold.py, where the rules stand:
 * everything is decided again from what was typed; an event that is not allowed changes nothing and becomes a
 * problem; one seen before changes nothing.
 */
import {readTrigger} from './touching/by_hand.js';
import {RuleError} from '../plain/errors.js';
import {copyValues, putBack, readLabel, zeroRow} from './touching/copying.js';
import {decide, finish, sign, start} from './ends.js';
import {raiseFirst} from './touching/input_age.js';
import {giveUp, handOver, leave, leaveUnsigned, takeOver} from './leaving.js';
import {nameBeside} from './company.js';
import {liftStop} from './trouble/lifts.js';
import {takePhoto} from './photos.js';
import {breakOff, explainBreak, pressHold, putQuestion, reopen, resume, undoBreak} from './notes.js';
import {result} from './result.js';
import {currentStep, mayNote, newState, note} from './state.js';
import {
  carryCaution,
  checkBoard,
  clearSlot,
  doStep,
  readCaution,
  readSlot,
  readTool,
  tickChecks,
} from './steps.js';
import {enterTouch, keepTouch, readAgain, repeatTouch, wipeChip} from './touching/touches.js';
import {meetTrouble} from './trouble/troubles.js';
import {raiseWorry} from './trouble/worries.js';
import {enterSquare} from '../touch/square.js';

// An event that answers a step, and the kinds of step that it can answer.
export const ANSWERS = {
  'caution.read': [['caution'], readCaution],
  'caution.carried': [['caution'], carryCaution],
  'board.checked': [['board'], checkBoard],
  'step.done': [['confirm', 'jaw', 'input', 'over', 'lower', 'search'], doStep],
  'checks.ticked': [['checks'], tickChecks],
  'tool.read': [['tool_in', 'tool_out'], readTool],
  'slot.read': [['slot'], readSlot],
  'values.copied': [['copy'], copyValues],
  'label.read': [['copy'], readLabel],
  'slot.cleared': [['clear'], clearSlot],
  'square.entered': [['square'], enterSquare],
  'trigger.read': [['touch'], readTrigger],
  'touch.entered': [['touch'], enterTouch],
  'touch.read_again': [['compare'], readAgain],
  'touch.repeated': [['compare'], repeatTouch],
  'chip.wiped': [['compare'], wipeChip],
  'touch.kept': [['compare'], keepTouch],
  'slot.zeroed': [['zero'], zeroRow],
  'setup.finished': [['finish'], finish],
  'setup.signed': [['sign'], sign],
};
// An event that may come at any step.
export const NOTES = {
  'setup.started': start,
  'setup.resumed': resume,
  'question.put': putQuestion,
  'worry.raised': raiseWorry,
  'hold.pressed': pressHold,
  'photo.taken': takePhoto,
  'beside.named': nameBeside,
  'step.reopened': reopen,
  'stop.lifted': liftStop,
  'trouble.met': meetTrouble,
  'input.aged': raiseFirst,
  'row.put_back': putBack,
  'axis.given_up': giveUp,
  'setup.left': leave,
  'setup.left_unsigned': leaveUnsigned,
  'setup.handed_over': handOver,
  'setup.taken_over': takeOver,
  'setup.broken_off': breakOff,
  'break.explained': explainBreak,
  'break.undone': undoBreak,
};
const AFTER_FINISH = ['setup.started', 'setup.resumed', 'setup.signed', 'setup.left_unsigned'];
const ONLY_NOTES = ['hold.pressed', 'worry.raised', 'question.put'];

/**
 * What these events, in the tablet's order,
 * and the server's decisions amount to on this sheet, as plain data.
 * @param {Object} sheet
 * @param {Object[]} events
 * @param {Object[]} decisions
 * @returns {Object}
 */
export function fold(sheet, events, decisions = []) {
  const state = newState(sheet);
  const seen = new Set();
  for (const decision of decisions) decide(state, decision);
  for (const event of events) {
    if (seen.has(event.id)) continue;
    seen.add(event.id);
    apply(state, event);
  }
  return structuredClone(result(state, seen));
}

function apply(state, event) {
  const aside = state.setAside.get(event.id);
  if (aside) {
    note(state, event, aside.code, aside.fields);
    return;
  }
  try {
    take(state, event);
  } catch (error) {
    if (!(error instanceof RuleError)) throw error;
    note(state, event, error.code, error.fields);
  }
}

function take(state, event) {
  if (event.type !== 'setup.started') checkBelongs(state, event);
  const noted = ONLY_NOTES.includes(event.type) && mayNote(state);
  if (state.outcome !== null && !AFTER_FINISH.includes(event.type) && !noted)
    throw new RuleError('setup.already_finished', {type: event.type});
  if (event.step !== null && !state.plan.has(event.step))
    throw new RuleError('setup.step_unknown', {step: event.step});
  state.count += 1;
  handlerOf(state, event)(state, event);
}

/** What every event of a setup has in common with its first. */
function checkBelongs(state, event) {
  if (state.setup === null) throw new RuleError('setup.not_started', {type: event.type});
  const fixed = {setup: state.setup, sheet: state.sheetHash, person: state.person, device: state.device};
  for (const [name, value] of Object.entries(fixed))
    if (event[name] !== value) throw new RuleError(`setup.other_${name}`);
}

/** What takes in this event; an answer to another step than the current one is not allowed. */
function handlerOf(state, {type, step}) {
  if (Object.hasOwn(NOTES, type)) return NOTES[type];
  const [kinds, handler] = ANSWERS[type];
  const current = currentStep(state);
  if (step !== (current?.id ?? null))
    throw new RuleError('setup.wrong_step', {step, current: current?.id ?? ''});
  if (!kinds.includes(current.kind)) throw new RuleError('setup.wrong_kind', {type, step});
  return handler;
}
