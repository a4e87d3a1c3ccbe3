/**
 * A list of checks, a tick each: the last tick closes the step.
 * What is ticked stays with the step until it is closed.
 */
import {el} from '../dom.js';
import {rows} from '../choices.js';
import {machineState, stepText} from '../text.js';

export function checksStep({setup, step, commit, again}) {
  const ticked = new Set(setup.draft.ticked ?? []);
  const tick = id => {
    if (!ticked.delete(id)) ticked.add(id);
    setup.keepDraft({...setup.draft, ticked: [...ticked]});
    return step.checks.every(check => ticked.has(check.id))
      ? commit('checks.ticked', {ticked: [...ticked]})
      : again();
  };
  return {
    strip: machineState(setup, step),
    left: rows(
      step.checks.map(({id, label}) => ({id, label, ticked: ticked.has(id)})),
      tick,
      {action: 'tick', kind: 'ticks'},
    ),
    right: el('div', {class: 'big-says'}, stepText(setup, step)),
  };
}
