/**
 * Copy down before clearing: three old values, compared with what the register last saw in this slot and in
 * every other. Nothing is filled in, and nothing that the register knows is shown. Values of another row ask
 * for the label beside them.
 */
import {AXES, comparedOnSheet, rowsWithValues} from '../../rules/touch/compare.js';
import {el} from '../dom.js';
import {labelKeys} from '../keypad.js';
import {say} from '../say.js';
import {machineState, notice, stepText} from '../text.js';
import {typing} from './typing.js';
import {threeValues} from './values.js';

export function copyStep(context) {
  const {tablet, setup, step, again} = context;
  if (setup.state.copy_waits_for_label) return labelScreen(context);
  const questioned = setup.draft.questioned ?? null;
  const three = threeValues(context, {
    note: () => null,
    lastLabel: questioned ? say('tablet.copy.keep_anyway') : step.action,
    done: ({values, typed}) => {
      const found = judge(setup, values);
      if (found.asks && questioned !== JSON.stringify(values)) {
        setup.keepDraft({...setup.draft, questioned: JSON.stringify(values), odd: found.asks});
        return again();
      }
      return tablet.act(async () => {
        if (found.asks === 'several')
          await setup.commit('question.put', {
            question: crypto.randomUUID(),
            axis: null,
            text: say('tablet.copy.several_ask', {slot: setup.slotLabel}),
          });
        return setup.commit('values.copied', {typed, values_nm: values, compared: found.compared}, step.id);
      });
    },
  });
  return {
    strip: machineState(setup, step),
    left: [stepText(setup, step), questioned && oddNotice(setup)],
    right: [el('div', {class: 'three'}, three.fields.plates), three.fields.refused, three.fields.pad],
    go: three.go,
    shown: three.fields.shown,
  };
}

/** How the values compare, and what is asked before they are kept: 'changed', 'several', or nothing. */
function judge(setup, values) {
  const compared = comparedOnSheet(setup.sheet, setup.state.slot, values);
  const kinds = Object.values(compared);
  const others = rowsWithValues(setup.sheet, setup.state.slot, values);
  const own = kinds.every(kind => kind === 'same');
  const asks =
    others.length > 1 || (others.length === 1 && own)
      ? 'several'
      : others.length === 0 && kinds.includes('changed')
        ? 'changed'
        : null;
  return {compared, asks};
}

function oddNotice(setup) {
  if (setup.draft.odd === 'several')
    return notice(
      'ask',
      el('p', {}, say('tablet.copy.several', {slot: setup.slotLabel})),
      el('p', {}, say('tablet.copy.several_do', {lead: setup.lead})),
    );
  return notice(
    'ask',
    el('p', {}, say('tablet.copy.changed', {slot: setup.slotLabel})),
    el('p', {}, say('tablet.copy.changed_do')),
  );
}

const copied = ({machine: {unit}}, typed) =>
  el(
    'ul',
    {class: 'figures lead'},
    AXES.map(axis => el('li', {}, say('tablet.copy.value', {axis, typed: typed[axis], unit}))),
  );

/** Which label stands beside these values? Nothing here says whose they may be. */
function labelScreen(context) {
  const {setup, step, commit} = context;
  const enter = () => {
    const typed = fields.value('label').trim();
    if (typed === '') return fields.fail(say('tablet.slot.nothing_typed'));
    return commit('label.read', {typed});
  };
  const fields = typing(
    context,
    [{name: 'label', label: say('tablet.copy.label_shown')}],
    labelKeys(setup.machine.slot_family),
    'label',
  );
  const last = setup.rows
    .filter(({payload}) => payload.step === step.id && payload.type === 'values.copied')
    .at(-1)?.payload.data;
  return {
    title: say('tablet.copy.whose_title'),
    strip: machineState(setup, step),
    left: [
      notice('stop', el('p', {}, say('tablet.copy.whose')), el('p', {}, say('tablet.copy.whose_do'))),
      last && copied(setup, last.typed),
    ],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: say('tablet.copy.label_go'), action: 'label', press: enter},
    shown: fields.shown,
  };
}
