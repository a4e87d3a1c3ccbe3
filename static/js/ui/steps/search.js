/** Set the search: the drawing, where to stand, which way, how far at most, how fast at most. */
import {drawingFigure} from '../drawing.js';
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {distance, feed, shown} from '../numbers.js';
import {plate} from '../plate.js';
import {machineState, notice, stepText} from '../text.js';

export function searchStep(context) {
  const {setup, step, commit} = context;
  const axis = setup.axis(step.axis);
  return {
    strip: machineState(setup, step),
    left: picture(context),
    right: [numbers(axis, setup.machine), stepText(setup, step)],
    go: {label: step.action, press: () => commit('step.done', {answer: 'done'})},
  };
}

/** The drawing of a touch, in a frame that gives way where there is no room for it. */
export const picture = ({tablet, step, setup}) => {
  const {drawing} = setup.axis(step.axis);
  return drawing && el('div', {class: 'picture'}, drawingFigure(drawing, say), button(say('tablet.drawing.larger'), 'larger', () => tablet.go({name: 'drawing', axis: step.axis}), {class: 'larger'}));
};

function numbers(axis, machine) {
  const {approach} = axis;
  if (!approach) return notice('stop', say('tablet.search.no_approach'));
  const most = distance(approach.range_nm, machine);
  const fast = feed(approach.first_feed_text, approach.first_feed_mm_per_min, machine);
  return [
    el('div', {class: 'plates three-up'},
      plate(say('tablet.search.towards'), {value: axis.search_label, other: say(`tablet.direction.${axis.axis}${axis.search > 0 ? '_plus' : '_minus'}`)}),
      plate(say('tablet.search.most'), most), plate(say('tablet.search.feed'), fast)),
    standAt(approach, axis, machine), place(approach, machine),
  ];
}

/** How deep the ball's centre goes below the jaw's top, and how far it keeps from the face's other edges; on a top the edges alone. */
function place({depth_low_nm: low, depth_high_nm: high, edge_distance_nm: edge}, machine) {
  const written = nm => distance(nm, machine).value;
  const fields = {edge: written(edge), unit: machine.unit};
  return el('p', {class: 'place'}, low === null ? say('tablet.search.edges', fields) : say('tablet.search.depth', {...fields, low: written(low), high: written(high)}));
}

function standAt(approach, axis, machine) {
  if (approach.stand_low_nm === null) {
    const [low, high] = [distance(approach.gap_low_nm, machine), distance(approach.gap_high_nm, machine)];
    return plate(say('tablet.search.gap'), {value: say('tablet.search.between', {low: low.value, high: high.value}), unit: low.unit, other: say('tablet.search.between', {low: low.other, high: high.other})}, 'wide');
  }
  const [low, high] = [shown(approach.stand_low_nm, machine), shown(approach.stand_high_nm, machine)];
  return el('div', {class: 'plates stand'}, plate(say(`tablet.search.stand_${axis.axis}_from`), low), plate(say(`tablet.search.stand_${axis.axis}_to`), high));
}
