/**
 * The slot that the control shows as selected,
 * typed by the operator and matched with the register on the sheet.
 */
import {say} from '../say.js';
import {matchSlot} from '../../rules/touch/compare.js';
import {labelKeys} from '../keypad.js';
import {halfSet, machineState, notice, stepText} from '../text.js';
import {dayAndTime} from '../when.js';
import {typing} from './typing.js';

export function slotStep(context) {
  const {setup, step, commit, tablet} = context;
  const judge = typed => matchSlot(setup.sheet, typed, setup.person, tablet.clock.nowUtc());
  const enter = () => {
    const typed = fields.value('slot').trim();
    if (typed === '') return fields.fail(say('tablet.slot.nothing_typed'));
    return commit('slot.read', {typed, outcome: judge(typed).outcome});
  };
  const fields = typing(
    context,
    [{name: 'slot', label: say('tablet.slot.shown')}],
    labelKeys(setup.machine.slot_family),
    'label',
  );
  const last = setup.rows
    .filter(({payload}) => payload.step === step.id && payload.type === 'slot.read')
    .at(-1)?.payload.data;
  return {
    strip: machineState(setup, step),
    left: [
      stepText(setup, step),
      anothersRow(setup),
      last && last.outcome !== 'own' && notice('stop', refusal(setup, last)),
      last?.outcome === 'expired' && byThisClock(tablet.clock),
    ],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: step.action, press: enter},
    shown: fields.shown,
  };
}

/**
 * The operator's own slot, where its last setup left it without all its values.
 * A sheet from before says nothing of it.
 */
export function leftHalfSet(own) {
  const slot = own.find(({missing_axes: missing}) => missing?.length > 0);
  if (slot?.not_usable_axes?.length > 0)
    return notice(
      'stop',
      halfSet('', say('tablet.slot.not_usable', {slot: slot.label, axes: slot.not_usable_axes.join(', ')})),
    );
  return slot
    ? notice(
        'ask',
        halfSet('', say('tablet.slot.half_set', {slot: slot.label, axes: slot.missing_axes.join(', ')})),
      )
    : null;
}

function refusal(setup, {typed, outcome}) {
  const slot = setup.sheet.slots.find(({label}) => label.toUpperCase() === typed.trim().toUpperCase());
  return say(`tablet.slot.${outcome}`, {
    typed,
    owner: slot?.owner_name ?? '',
    until: slot?.until_utc ? dayAndTime(slot.until_utc) : '',
  });
}

/**
 * Inside a setup an end is told by the time in its own event, which is this tablet's: everybody who reads the
 * event again comes to the same. Where that clock is in doubt it is named before a person is turned away.
 */
const byThisClock = clock =>
  clock.isDoubtful && notice('ask', say('tablet.slot.by_this_clock', {now: dayAndTime(clock.nowUtc())}));

/** The values copied down were another row's: said by name only now, and nothing was cleared. */
function anothersRow({state: {blocked}, ownSlots}) {
  if (blocked?.code !== 'setup.copy_anothers') return null;
  const own = ownSlots.map(({label}) => label).join(', ') || say('tablet.slot.none');
  return notice(
    'stop',
    say(blocked.fields.owner ? 'tablet.copy.anothers' : 'tablet.copy.anothers_row', {...blocked.fields, own}),
  );
}
