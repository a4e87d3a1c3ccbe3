/**
 * Clear the slot: how large each change is, whether the control will ask; then one answer for three zeros,
 * or for what the lead parks a row at. Where another value stands, it is typed, and the step stays open.
 */
import {AXES, clearPlan, isParked, parkedNm, slotLengthNm} from '../../rules/touch/compare.js';
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {distance, written} from '../numbers.js';
import {plate} from '../plate.js';
import {machineState, notice, stepText} from '../text.js';
import {threeValues} from './values.js';

export function clearStep(context) {
  return context.setup.draft.another ? typedValues(context) : threeZeros(context);
}

const planOf = setup =>
  clearPlan(setup.state.copied?.values_nm ?? {}, setup.machine.confirm_limit_nm, setup.machine.parked_nm);
const cleared = (setup, axis) => written(parkedNm(setup.sheet, axis), setup.machine);

function threeZeros({setup, step, commit, again}) {
  const plan = planOf(setup);
  const {machine} = setup;
  const typed = Object.fromEntries(AXES.map(axis => [axis, cleared(setup, axis)]));
  const values = Object.fromEntries(AXES.map(axis => [axis, slotLengthNm(typed[axis], machine, axis)]));
  return {
    strip: machineState(setup, step),
    left: [stepText(setup, step), notZero(setup, step)],
    right: [
      el(
        'div',
        {class: 'plates zeros'},
        AXES.map(axis =>
          plate(axis, {value: typed[axis], unit: machine.unit, note: planned(setup, axis, plan[axis])}),
        ),
      ),
      el(
        'div',
        {class: 'ways'},
        button(say('tablet.clear.another'), 'another-value', () => {
          setup.keepDraft({...setup.draft, another: true});
          again();
        }),
      ),
    ],
    go: {label: step.action, press: () => commit('slot.cleared', {typed, values_nm: values})},
  };
}

/** What did not hold a cleared row's value when it was looked at last. */
function notZero(setup, step) {
  const last = setup.rows
    .filter(({payload}) => payload.step === step.id && payload.type === 'slot.cleared')
    .at(-1)?.payload.data;
  const left = last ? AXES.filter(axis => last.values_nm[axis] !== parkedNm(setup.sheet, axis)) : [];
  return (
    left.length > 0 &&
    notice(
      'stop',
      say(isParked(setup.sheet) ? 'tablet.clear.not_parked' : 'tablet.clear.not_zero', {
        axes: left.join(', '),
      }),
    )
  );
}

function typedValues(context) {
  const {setup, step, commit} = context;
  const plan = planOf(setup);
  const three = threeValues(context, {
    note: axis => el('span', {class: 'plate-note'}, planned(setup, axis, plan[axis])),
    lastLabel: step.action,
    done: ({values, typed}) => commit('slot.cleared', {typed, values_nm: values}),
  });
  return {
    strip: machineState(setup, step),
    left: [stepText(setup, step), notZero(setup, step)],
    right: [el('div', {class: 'three'}, three.fields.plates), three.fields.refused, three.fields.pad],
    go: three.go,
    shown: three.fields.shown,
  };
}

function planned(setup, axis, one) {
  if (!one) return null;
  const {value, unit} = distance(Math.abs(one.change_nm), setup.machine);
  const where = parkedNm(setup.sheet, axis) === 0 ? '' : '_parked';
  return say(`tablet.clear.${one.asks ? 'asks' : 'does_not_ask'}${where}`, {
    change: value,
    unit,
    ...(where && {parked: cleared(setup, axis)}),
  });
}
