/** Copy down before clearing: three old values, compared with what the register last saw in this slot. Nothing is filled in. */
import {AXES, copiedValues} from '../../rules/touch/compare.js';
import {el} from '../dom.js';
import {say} from '../say.js';
import {written} from '../numbers.js';
import {machineState, notice, stepText} from '../text.js';
import {threeValues} from './values.js';

export function copyStep(context) {
  const {setup, step, commit, again} = context;
  const questioned = setup.draft.questioned ?? null;
  const three = threeValues(context, {
    note: () => null,
    lastLabel: questioned ? say('tablet.copy.keep_anyway') : step.action,
    done: ({values, typed}) => {
      const compared = copiedValues(setup.sheet, setup.state.slot, values);
      const odd = AXES.some(axis => compared[axis] === 'changed');
      if (odd && questioned !== JSON.stringify(values)) {
        setup.keepDraft({...setup.draft, questioned: JSON.stringify(values), compared});
        return again();
      }
      return commit('values.copied', {typed, values_nm: values, compared});
    },
  });
  return {
    strip: machineState(setup, step),
    left: [stepText(setup, step), questioned && changedNotice(setup)],
    right: [el('div', {class: 'three'}, three.fields.plates), three.fields.refused, three.fields.pad],
    go: three.go, shown: three.fields.shown,
  };
}

function changedNotice(setup) {
  const last = setup.sheet.slots.find(({label}) => label === setup.slotLabel)?.last_values_nm;
  const axes = AXES.filter(axis => setup.draft.compared?.[axis] === 'changed');
  if (!last || axes.length === 0) return null;
  const seen = axes.map(axis => `${axis} ${written(last[axis], setup.machine)}`).join(', ');
  return notice('ask', el('p', {}, say('tablet.copy.changed', {seen, unit: setup.machine.unit, slot: setup.slotLabel})), el('p', {}, say('tablet.copy.changed_do')));
}
