/**
 * Is the jaw square to the axis? Two touches on one face, far apart. First how both searches are set, then what the control
 * shows at each place. The angle is told at the step itself and stands in the record; it stops nobody.
 */
import {touchLengthNm} from '../../rules/compare.js';
import {errorOverJaw} from '../../rules/square.js';
import {button, el} from '../dom.js';
import {drawingFigure} from '../drawing.js';
import {numberKeys} from '../keypad.js';
import {distance, feed} from '../numbers.js';
import {plate} from '../plate.js';
import {say, sayError} from '../say.js';
import {machineState, notice, stepText} from '../text.js';
import {typing} from './typing.js';

// A difference above a tenth of the distance is about six degrees: more likely one of the two was read or typed wrong.
const SLANTED_PART = 10;
const PLACES = ['first', 'second'];

export function squareStep(context) {
  return context.setup.draft.set ? typed(context) : planned(context);
}

/** How both searches are set. */
function planned({tablet, setup, step, again}) {
  const {square, machine} = {square: setup.sheet.square, machine: setup.machine};
  const axis = setup.axis(step.axis);
  const press = () => { setup.keepDraft({...setup.draft, set: true}); again(); };
  return {
    kind: 'square', strip: machineState(setup, step), left: picture(tablet, square),
    right: [numbers(axis, square, machine), stepText(setup, step)],
    go: {label: say('tablet.square.set'), press},
  };
}

function numbers(axis, square, machine) {
  const {approach} = axis;
  if (!approach) return notice('stop', say('tablet.search.no_approach'));
  const apart = distance(square.apart_nm, machine);
  const [low, high] = [distance(approach.gap_low_nm, machine), distance(approach.gap_high_nm, machine)];
  return [
    el('div', {class: 'plates three-up'},
      plate(say('tablet.search.towards'), {value: axis.search_label, other: say(`tablet.direction.${axis.axis}${axis.search > 0 ? '_plus' : '_minus'}`)}),
      plate(say('tablet.search.most'), distance(approach.range_nm, machine)),
      plate(say('tablet.search.feed'), feed(approach.first_feed_text, approach.first_feed_mm_per_min, machine))),
    el('div', {class: 'plates stand'},
      plate(say('tablet.search.gap'), {value: say('tablet.search.between', {low: low.value, high: high.value}), unit: low.unit}),
      plate(say('tablet.square.apart', {along: square.along}), {...apart, value: `+${apart.value}`})),
  ];
}

/** What the control shows at both places. */
function typed(context) {
  const {tablet, setup, step, commit, again} = context;
  const {sheet: {square}, machine} = setup;
  const fields = typing(context, PLACES.map(name => ({name, label: say(`tablet.square.${name}`, {axis: step.axis}), unit: machine.unit})), numberKeys(), enter, 'compact');
  const {questioned = null} = setup.draft;

  function enter() {
    const texts = PLACES.map(name => fields.value(name).trim());
    const values = [];
    for (const [place, name] of PLACES.entries()) {
      if (texts[place] === '' && fields.active() !== name) continue;
      try {
        values[place] = touchLengthNm(texts[place], machine, step.axis);
      } catch (error) {
        fields.focus(name);
        return fields.fail([`${say(`tablet.square.${name}`, {axis: step.axis})}: `, sayError(error)]);
      }
    }
    const missing = PLACES.find((name, place) => values[place] === undefined);
    if (missing) { fields.focus(missing); return again(); }
    const slanted = Math.abs(values[1] - values[0]) * SLANTED_PART > square.apart_nm;
    if (slanted && questioned !== JSON.stringify(values)) {
      setup.keepDraft({...setup.draft, questioned: JSON.stringify(values)});
      return again();
    }
    return commit('square.entered', {axis: step.axis, typed: texts, values_nm: values, apart_nm: square.apart_nm, ...errorOverJaw(values, square)});
  }

  const next = PLACES.find(name => name !== fields.active() && fields.value(name).trim() === '');
  const label = next ? say('tablet.square.next') : questioned ? say('tablet.copy.keep_anyway') : step.action;
  return {
    kind: 'square', strip: machineState(setup, step),
    left: [picture(tablet, square), questioned ? notice('ask', say('tablet.square.slanted')) : stepText(setup, step)],
    right: [el('div', {class: 'both-places'}, fields.plates), fields.refused, fields.pad],
    go: {label, press: enter}, shown: fields.shown,
  };
}

const picture = (tablet, {drawing}) => el('div', {class: 'picture'}, drawingFigure(drawing, say),
  button(say('tablet.drawing.larger'), 'larger', () => tablet.go({name: 'drawing', axis: 'square'}), {class: 'larger'}));
