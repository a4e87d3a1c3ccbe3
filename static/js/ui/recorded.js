/** What was recorded for a step, in a few words: the answer as it was given, never just a tick. */
import {written} from './numbers.js';
import {say} from './say.js';

export function recorded(setup, step) {
  const {event} = setup.state.steps[step.id];
  const payload = setup.rows.find(({id}) => id === event)?.payload;
  if (!payload) return say('tablet.recorded.done');
  const {type, data} = payload;
  if (type === 'step.done')
    return step.choices?.find(({id}) => id === data.answer)?.label ?? say('tablet.recorded.done');
  if (type === 'checks.ticked') return say('tablet.recorded.ticked', {count: data.ticked.length});
  if (type === 'board.checked')
    return step.choices?.find(({id}) => id === data.found)?.label ?? say('tablet.recorded.done');
  if (type === 'tool.read' || type === 'slot.read') return data.typed;
  if (type === 'square.entered') {
    const [first, second] = data.typed;
    return say('tablet.recorded.square', {
      first,
      second,
      error: `${written(data.error_nm, setup.machine)} ${setup.machine.unit}`,
    });
  }
  if (type === 'touch.entered') return touched(setup, data);
  if (type === 'touch.kept') return say(`tablet.recorded.kept_${data.because}`, {axis: data.axis});
  if (type === 'values.copied' || type === 'slot.cleared')
    return ['X', 'Y', 'Z'].map(axis => `${axis} ${data.typed[axis]}`).join('  ');
  if (type === 'label.read') return data.typed;
  if (type === 'slot.zeroed')
    return `${data.label}  ${['X', 'Y', 'Z'].map(axis => `${axis} ${data.typed[axis]}`).join('  ')}`;
  if (type === 'caution.carried') return say('tablet.recorded.carried');
  return say(type === 'caution.read' ? 'tablet.recorded.read' : 'tablet.recorded.done');
}

/**
 * What was read; where the slot is written by hand, also where the probe answered and what was to be entered.
 */
function touched({state, machine}, {axis, typed}) {
  const trigger = state.triggers.findLast(one => one.axis === axis);
  if (!trigger) return `${axis} ${typed}`;
  return say('tablet.recorded.by_hand', {
    axis,
    typed,
    trigger: trigger.typed,
    surface: written(trigger.surface_nm, machine),
  });
}
