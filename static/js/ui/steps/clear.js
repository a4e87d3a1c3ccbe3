/**
 * Clear the slot: how large each change is, whether the control will ask; then one answer for three zeros. Where another value
 * stands, it is typed, and the step stays open.
 */
import {AXES, clearPlan, slotLengthNm} from '../../rules/touch/compare.js';
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {distance, written} from '../numbers.js';
import {plate} from '../plate.js';
import {machineState, notice, stepText} from '../text.js';
import {threeValues} from './values.js';

export function clearStep(context) {
  return context.setup.draft.another ? typedValues(context) : threeZeros(context);
}

const planOf = setup => clearPlan(setup.state.copied?.values_nm ?? {}, setup.machine.confirm_limit_nm);

function threeZeros({setup, step, commit, again}) {
  const plan = planOf(setup);
  const {machine} = setup;
  const zero = written(0, machine);
  const typed = Object.fromEntries(AXES.map(axis => [axis, zero]));
  const values = Object.fromEntries(AXES.map(axis => [axis, slotLengthNm(zero, machine, axis)]));
  return {
    strip: machineState(setup, step),
    left: [stepText(setup, step), notZero(setup, step)],
    right: [
      el('div', {class: 'plates zeros'}, AXES.map(axis => plate(axis, {value: zero, unit: machine.unit, note: planned(plan[axis], machine)}))),
      el('div', {class: 'ways'}, button(say('tablet.clear.another'), 'another-value', () => { setup.keepDraft({...setup.draft, another: true}); again(); })),
    ],
    go: {label: step.action, press: () => commit('slot.cleared', {typed, values_nm: values})},
  };
}

/** What was not zero when it was looked at last. */
function notZero(setup, step) {
  const last = setup.rows.filter(({payload}) => payload.step === step.id && payload.type === 'slot.cleared').at(-1)?.payload.data;
  const left = last ? AXES.filter(axis => last.values_nm[axis] !== 0) : [];
  return left.length > 0 && notice('stop', say('tablet.clear.not_zero', {axes: left.join(', ')}));
}

function typedValues(context) {
  const {setup, step, commit} = context;
  const plan = planOf(setup);
  const three = threeValues(context, {
    note: axis => el('span', {class: 'plate-note'}, planned(plan[axis], setup.machine)),
    lastLabel: step.action,
    done: ({values, typed}) => commit('slot.cleared', {typed, values_nm: values}),
  });
  return {
    strip: machineState(setup, step),
    left: [stepText(setup, step), notZero(setup, step)],
    right: [el('div', {class: 'three'}, three.fields.plates), three.fields.refused, three.fields.pad],
    go: three.go, shown: three.fields.shown,
  };
}

function planned(one, machine) {
  if (!one) return null;
  const {value, unit} = distance(Math.abs(one.change_nm), machine);
  return say(one.asks ? 'tablet.clear.asks' : 'tablet.clear.does_not_ask', {change: value, unit});
}
