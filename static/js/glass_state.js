/**
 * What a setup would say of itself at a step, had all before it gone well: what its screen shows then. Values
 * are those of the sheet, and where it has none yet, the middle of the travel.
 */
import {written} from './ui/numbers.js';

const DONE = {state: 'done', event: '', at_utc: ''};

/**
 * @param {import('./setup.js').Setup} setup one that has begun
 * @param {string} id the step that is to be shown
 */
export function asIfReached(setup, id) {
  const steps = setup.stages.flatMap(stage => stage.steps);
  const before = steps.slice(
    0,
    steps.findIndex(step => step.id === id),
  );
  const had = kind => before.some(step => step.kind === kind);
  const step = steps[before.length];
  const slot = setup.ownSlots[0];
  const values = slot?.last_values_nm ?? {X: 0, Y: 0, Z: 0};
  return {
    ...setup.state,
    current_step: id,
    steps: {...setup.state.steps, ...Object.fromEntries(before.map(one => [one.id, DONE]))},
    slot: had('slot') ? slot?.label : null,
    probe_in_spindle: had('tool_in') && !had('tool_out'),
    copied: had('copy') ? {values_nm: values, compared: {X: 'same', Y: 'same', Z: 'same'}, event: ''} : null,
    touches: touchesBefore(setup, step),
    values_nm: {...setup.state.values_nm, ...valuesBefore(setup, before)},
    keep_because: step?.kind === 'compare' ? 'agrees' : null,
    may_leave: false,
    may_touch_again: true,
    beside: [],
    beside_waits_for: null,
    blocked: null,
  };
}

function valueOf(setup, axis) {
  const [low, high] = setup.machine.travel_nm[axis];
  return setup.axis(axis)?.usual.centre_nm ?? Math.round((low + high) / 2);
}

const valuesBefore = (setup, before) =>
  Object.fromEntries(
    before.filter(({kind}) => kind === 'compare').map(({axis}) => [axis, valueOf(setup, axis)]),
  );

/** A comparison is shown of a touch that agreed. */
function touchesBefore(setup, step) {
  if (step?.kind !== 'compare') return [];
  const value = valueOf(setup, step.axis);
  return [
    {
      axis: step.axis,
      typed: written(value, setup.machine),
      value_nm: value,
      difference_nm: setup.axis(step.axis).usual.centre_nm === null ? null : 0,
      verdict: 'agrees',
      repeat_agrees: false,
      reading: 1,
      read_again: null,
      kept: false,
      because: null,
      event: '',
      at_utc: setup.tablet.clock.nowUtc(),
    },
  ];
}
