/**
 * What the lead is to see before signing off.
 * The twin of webapp/domain/setup/remarks.py, where the rules stand.
 */
import {remarkOf} from './state.js';

/** All remarks: those noted as they happened, then those of the axes in the sheet's order. */
export const remarksOf = state => [
  ...handing(state),
  ...state.remarks,
  ...(state.stopsAreTheLeads ? [...state.axes.keys()] : []).flatMap(axis => [
    ...readingsOf(state, axis),
    ...enteredOf(state, axis),
    ...stopsOf(state, axis),
  ]),
];

function handing({takenOver: taken, brokenOff: broken}) {
  const found = [];
  if (taken !== null) found.push(remarkOf('taken_over', taken, {by: taken.person}));
  if (broken?.to !== undefined) found.push(remarkOf('handed_over', broken, {by: broken.to}));
  return found;
}

function readingsOf(state, axis) {
  const searches = new Map();
  state.touches.forEach((touch, place) => {
    const {searchedAt} = state.touchNotes[place];
    if (touch.axis === axis) searches.set(searchedAt, [...(searches.get(searchedAt) ?? []), touch]);
  });
  return [...searches.values()]
    .filter(one => new Set(one.map(touch => touch.value_nm)).size > 1)
    .map(one => remarkOf('two_readings', one.at(-1), {axis, values_nm: one.map(touch => touch.value_nm)}));
}

/** Each value that is another than the surface which was to be entered by hand: that surface first. */
const enteredOf = (state, axis) =>
  state.touches
    .filter(touch => touch.axis === axis && state.enteredOtherwise.has(touch.event))
    .map(touch =>
      remarkOf('entered_otherwise', touch, {
        axis,
        values_nm: [state.enteredOtherwise.get(touch.event), touch.value_nm],
      }),
    );

function stopsOf(state, axis) {
  const touches = state.touches.filter(touch => touch.axis === axis);
  if (touches.every(({verdict}) => verdict !== 'stop')) return [];
  const last = touches.at(-1);
  const kind = state.givenUp.includes(axis)
    ? 'not_usable'
    : !last.kept
      ? null
      : last.because === 'lead'
        ? 'stop_kept'
        : 'stop_then_agrees';
  if (kind === null) return [];
  return [
    remarkOf(kind, last, {
      axis,
      values_nm: touches.map(touch => touch.value_nm),
      by: kind === 'stop_kept' ? leadOf(state, axis) : null,
    }),
  ];
}

/** Who last said that the axis' value stands: by a verified PIN, else by an answer. */
function leadOf(state, axis) {
  const lifted = state.lifts
    .filter(lift => lift.axis === axis && lift.state === 'verified')
    .map(({lead}) => lead);
  const said = state.questions
    .filter(one => one.axis === axis && one.answer?.decision === 'go_on')
    .map(({answer}) => answer.by);
  return (lifted.length > 0 ? lifted : said).at(-1) ?? null;
}
