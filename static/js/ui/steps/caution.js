/**
 * A caution: signal word, hazard, consequence, avoidance,
 * in the colours of its word (ANSI Z535.4, ISO 3864-2; from memory).
 */
import {el, svg} from '../dom.js';
import {say} from '../say.js';
import {machineState, stepText} from '../text.js';

export function cautionStep({setup, step, commit}) {
  const {id, signal, hazard, consequence, avoidance} = step.caution;
  return {
    strip: machineState(setup, step),
    left: el(
      'section',
      {class: `caution-block ${signal}`, 'aria-label': say(`tablet.signal.${signal}`)},
      el(
        'p',
        {class: 'signal'},
        signal === 'notice' ? null : triangle(),
        el('span', {}, say(`tablet.signal.${signal}`)),
      ),
      el(
        'div',
        {class: 'caution-says'},
        el('p', {class: 'hazard'}, hazard),
        el('p', {}, consequence),
        el('p', {class: 'avoidance'}, avoidance),
      ),
    ),
    right: stepText(setup, step),
    go: {label: step.action, press: () => commit('caution.read', {caution: id})},
  };
}

const triangle = () =>
  svg(
    'svg',
    {viewBox: '0 0 24 22', class: 'triangle', 'aria-hidden': 'true'},
    svg('path', {d: 'M12 1.5 23 20.5H1Z', class: 'triangle-face'}),
    svg('path', {d: 'M12 8v6M12 16.4v1.8', class: 'triangle-mark'}),
  );
