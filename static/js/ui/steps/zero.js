/**
 * The row of a setup that was broken off:
 * its own label first, typed as the control shows it, then three values read back.
 */
import {isParked} from '../../rules/touch/compare.js';
import {el} from '../dom.js';
import {labelKeys} from '../keypad.js';
import {say} from '../say.js';
import {machineState, notice, stepText} from '../text.js';
import {typing} from './typing.js';
import {threeValues} from './values.js';

export function zeroStep(context) {
  return context.setup.draft.label ? zeros(context) : label(context);
}

function label(context) {
  const {setup, step, again} = context;
  const enter = () => {
    const typed = fields.value('label').trim();
    if (typed === '') return fields.fail(say('tablet.slot.nothing_typed'));
    setup.keepDraft({label: typed});
    return again();
  };
  const fields = typing(
    context,
    [{name: 'label', label: say('tablet.slot.shown')}],
    labelKeys(setup.machine.slot_family),
    'label',
  );
  return {
    strip: machineState(setup, step),
    left: [stepText(setup, step), waits(setup)],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: say('tablet.zero.label_go'), press: enter},
    shown: fields.shown,
  };
}

function zeros(context) {
  const {setup, step, commit} = context;
  const three = threeValues(context, {
    note: () => null,
    lastLabel: step.action,
    done: ({values, typed}) => commit('slot.zeroed', {label: setup.draft.label, typed, values_nm: values}),
  });
  return {
    strip: machineState(setup, step),
    left: [stepText(setup, step)],
    right: [el('div', {class: 'three'}, three.fields.plates), three.fields.refused, three.fields.pad],
    go: three.go,
    shown: three.fields.shown,
  };
}

/** Why the row is still to be read. */
function waits({state: {blocked}, sheet, ownSlots}) {
  if (blocked?.code === 'setup.zero_other_label')
    return notice(
      'stop',
      say('tablet.zero.other_label', {...blocked.fields, own: ownSlots.map(slot => slot.label).join(', ')}),
    );
  if (!['setup.slot_not_zero', 'setup.slot_not_parked'].includes(blocked?.code)) return null;
  return notice(
    'stop',
    say(isParked(sheet) ? 'tablet.clear.not_parked' : 'tablet.clear.not_zero', {axes: blocked.fields.axis}),
  );
}
