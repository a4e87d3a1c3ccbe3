/**
 * Set the search: the drawing, which way, how far at most, how fast at first and then, where to stand and
 * which page of the control says so. One grid holds all of it; plate.css gives each part its place by the
 * width that there is.
 */
import {drawingFigure} from '../drawing.js';
import {button, el, svg} from '../dom.js';
import {say} from '../say.js';
import {distance, feed, judged, shown} from '../numbers.js';
import {plate} from '../plate.js';
import {machineState, notice, stepText} from '../text.js';

export function searchStep(context) {
  const {setup, step, commit} = context;
  const axis = setup.axis(step.axis);
  return {
    strip: machineState(setup, step),
    left: axis.approach
      ? searchGrid(context, axis, standAt(axis, setup))
      : [picture(context), notice('stop', say('tablet.search.no_approach')), stepText(setup, step)],
    go: {label: step.action, press: () => commit('step.done', {answer: 'done'})},
  };
}

/**
 * The drawing of a touch, in a frame that gives way where there is no room for it;
 * the whole of it opens the large one.
 */
export const picture = ({tablet, step, setup}) =>
  framed(setup.axis(step.axis).drawing, () => tablet.go({name: 'drawing', axis: step.axis}));

/** A drawing in its frame. */
export const framed = (drawing, open) =>
  drawing &&
  el(
    'div',
    {class: `picture${drawing.small ? ' with-small' : ''}`},
    drawingFigure(drawing, say),
    button([largerSign(), el('span', {}, say('tablet.drawing.larger'))], 'larger', open, {
      class: 'larger',
      'aria-label': say('tablet.drawing.larger'),
    }),
  );

const largerSign = () =>
  svg(
    'svg',
    {viewBox: '0 0 24 24', class: 'larger-sign', 'aria-hidden': 'true'},
    svg('path', {d: 'M14 3h7v7M10 21H3v-7M21 3l-8 8M3 21l8-8'}),
  );

/** Drawing, plates and words of a search; `where` is what says where to stand. */
export function searchGrid(context, axis, where) {
  const {setup, step} = context;
  const {approach} = axis;
  const {machine} = setup;
  return el(
    'div',
    {class: 'search-grid'},
    where.picture ?? picture(context),
    plate(
      say('tablet.search.towards'),
      {
        value: axis.search_label,
        other: say(`tablet.direction.${axis.axis}${axis.search > 0 ? '_plus' : '_minus'}`),
      },
      'direction',
    ),
    plate(say('tablet.search.most'), distance(approach.range_nm, machine), 'range'),
    plate(
      say('tablet.search.feed'),
      feed(approach.first_feed_text, approach.first_feed_mm_per_min, machine),
      'first',
    ),
    plate(
      say('tablet.search.second_feed'),
      feed(approach.fine_feed_text, approach.fine_feed_mm_per_min, machine),
      'second',
    ),
    where.plates,
    where.words,
    (approach.notes ?? []).map(({code, fields}) => el('p', {class: 'place note'}, say(code, fields))),
    stepText(setup, step),
  );
}

/**
 * Where to stand, for a search that lowers to it: between which two numbers,
 * or the gap where they are not known. A search that was lowered to on a step of its own says no more of it.
 */
function standAt(axis, setup) {
  const {machine, slotLabel} = setup;
  const {approach} = axis;
  if (setup.stageOf(setup.state.current_step)?.steps.some(({kind}) => kind === 'lower'))
    return {plates: gapPlate(approach, machine)};
  const stand = bandPlates(setup, approach, axis.axis);
  if (!stand)
    return {
      plates: gapPlate(approach, machine),
      words: el('div', {class: 'place'}, place(approach, machine)),
    };
  return {
    plates: stand,
    words: el(
      'div',
      {class: 'place'},
      el(
        'p',
        {class: 'page'},
        standPoint(axis, machine),
        ' ',
        el('span', {class: 'page-why'}, say('tablet.search.page_why', {slot: slotLabel})),
      ),
      place(approach, machine),
    ),
  };
}

/**
 * Two plates: between which machine coordinates of an axis the place lies, or null where they are not known.
 */
function bandPlates(setup, approach, name) {
  const band = bandOf(setup, approach, name);
  if (!band) return null;
  return [
    plate(say(`tablet.search.stand_${name}_from`), shown(band.low, setup.machine), 'low'),
    plate(say(`tablet.search.stand_${name}_to`), shown(band.high, setup.machine), 'high'),
  ];
}

/**
 * The place on one axis: from this setup's own value once it is kept, else from the usual.
 * An older sheet has that of the search alone.
 */
function bandOf({state}, approach, name) {
  const band =
    approach.place === undefined && approach.axis === name
      ? {low_nm: approach.stand_low_nm, high_nm: approach.stand_high_nm}
      : approach.place?.[name];
  if (!band) return null;
  const own = state.values_nm[name];
  if (own !== null && band.from_surface_low_nm !== undefined)
    return {low: own + band.from_surface_low_nm, high: own + band.from_surface_high_nm};
  return band.low_nm === null ? null : {low: band.low_nm, high: band.high_nm};
}

/**
 * On the way to a face: over it the two numbers of X and of Y, beside it those of Z;
 * where they are not known, gap and depth.
 */
export function wayPlates(axis, {kind}, setup) {
  const {approach} = axis;
  if (!approach) return notice('stop', say('tablet.search.no_approach'));
  const bands = (kind === 'over' ? ['X', 'Y'] : ['Z'])
    .map(name => bandPlates(setup, approach, name))
    .filter(Boolean);
  const page =
    bands.length > 0 && el('p', {class: 'place'}, say('tablet.search.page_why', {slot: setup.slotLabel}));
  return [
    bands.length > 0 ? el('div', {class: 'way-plates'}, bands) : gapPlate(approach, setup.machine),
    el('div', {class: 'place'}, page, kind === 'lower' && place(approach, setup.machine)),
  ];
}

/** Which point the two numbers are the machine coordinates of, and which page of the control to read. */
function standPoint({axis, approach: {stand_above_ball_nm: above}}, machine) {
  if (axis !== 'Z' || above === undefined) return say('tablet.search.page_spindle', {axis});
  if (above === 0) return say('tablet.search.page_ball');
  if (above < 0) return say('tablet.search.page_underside');
  return say('tablet.search.page_gauge_line', {above: distance(above, machine).value, unit: machine.unit});
}

/** Without a usual only the gap between ball and face is known. */
export function gapPlate(approach, machine, kind = 'gap') {
  const [low, high] = [judged(approach.gap_low_nm, machine), judged(approach.gap_high_nm, machine)];
  return plate(
    say('tablet.search.gap'),
    {
      value: say('tablet.search.between', {low: low.value, high: high.value}),
      unit: low.unit,
      other: say('tablet.search.between', {low: low.other, high: high.other}),
    },
    `${kind} between`,
  );
}

/**
 * How deep the ball's centre goes below the jaw's top, and how far it keeps from the face's other edges;
 * on a top the edges alone.
 */
function place({depth_low_nm: low, depth_high_nm: high, edge_distance_nm: edge}, machine) {
  const written = nm => judged(nm, machine).value;
  const fields = {edge: written(edge), unit: machine.unit};
  return el(
    'p',
    {},
    low === null
      ? say('tablet.search.edges', fields)
      : say('tablet.search.depth', {...fields, low: written(low), high: written(high)}),
  );
}
