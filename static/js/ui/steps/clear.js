/** Clear the slot: how large each change is, whether the control will ask, and then what all three read. */
import {AXES, clearPlan} from '../../rules/touch/compare.js';
import {el} from '../dom.js';
import {say} from '../say.js';
import {distance} from '../numbers.js';
import {machineState, notice, stepText} from '../text.js';
import {threeValues} from './values.js';

export function clearStep(context) {
  const {setup, step, commit} = context;
  const plan = clearPlan(setup.state.copied?.values_nm ?? {}, setup.machine.confirm_limit_nm);
  const three = threeValues(context, {
    note: axis => planned(plan[axis], setup.machine),
    lastLabel: step.action,
    done: ({values, typed}) => commit('slot.cleared', {typed, values_nm: values}),
  });
  const last = setup.rows.filter(({payload}) => payload.step === step.id && payload.type === 'slot.cleared').at(-1)?.payload.data;
  const left = last ? AXES.filter(axis => last.values_nm[axis] !== 0) : [];
  return {
    strip: machineState(setup, step),
    left: [stepText(setup, step), left.length > 0 && notice('stop', say('tablet.clear.not_zero', {axes: left.join(', ')}))],
    right: [el('div', {class: 'three'}, three.fields.plates), three.fields.refused, three.fields.pad],
    go: three.go, shown: three.fields.shown,
  };
}

function planned(one, machine) {
  if (!one) return null;
  const {value, unit} = distance(Math.abs(one.change_nm), machine);
  return el('span', {class: 'plate-note'}, say(one.asks ? 'tablet.clear.asks' : 'tablet.clear.does_not_ask', {change: value, unit}));
}
