/**
 * What may have happened: the likely causes that the sheet carries, the likeliest first, each with
 * one thing to look at. Where there is room all of it is open; else it unfolds, one cause at a time.
 */
import {nameCauses} from '../../rules/causes/named.js';
import {displayOf} from '../../rules/touch/compare.js';
import {el} from '../dom.js';
import {say} from '../say.js';

const WIDE = matchMedia('(min-width: 1000px)');
const NARROW = matchMedia('(max-width: 480px)');

/** The block for a touch, or null where nothing is to be explained or the sheet carries no causes. */
export function causesBlock(setup, axis, touch) {
  if (!axis.causes || touch.verdict === 'agrees') return null;
  const named = namedFor(setup, axis, touch);
  if (named.length === 0)
    return touch.difference_nm === null ? null : el('p', {class: 'causes none'}, say('cause.none'));
  const folds = named.map(one => el('li', {}, fold(one)));
  const list = el('ol', {}, folds);
  unfoldToFit(list);
  return el(
    'div',
    {class: 'causes'},
    list,
    named.filter(({alike}) => alike).length > 1 && el('p', {class: 'alike'}, say('cause.alike')),
  );
}

/**
 * The touches of other axes so far count, each axis' last one, kept or not.
 * Slips were asked about when this was typed.
 */
function namedFor({state, machine}, axis, touch) {
  const last = new Map(state.touches.filter(one => one.axis !== touch.axis).map(one => [one.axis, one]));
  return nameCauses(touch.value_nm, axis.causes, axis.usual, displayOf(machine), {
    copiedNm: state.copied?.values_nm[touch.axis] ?? null,
    ownSlot: state.slot,
    earlier: [...last.values()],
  });
}

/**
 * What it would have given stays at the lead's desk:
 * with it anybody could work out the number that would fit.
 */
function fold({code, fields}) {
  return el(
    'details',
    {data: {cause: code}},
    el('summary', {data: {action: 'cause'}}, el('span', {}, say(code, fields))),
    el('p', {}, say(code.replace('cause.', 'check.'), fields)),
  );
}

/**
 * One or two are all open where it is wide; else the first one is;
 * none on a phone, unless it is the only one.
 */
function unfoldToFit(list) {
  const folds = [...list.querySelectorAll('details')];
  const fit = () => {
    const all = folds.length === 1 || (folds.length === 2 && WIDE.matches);
    folds.forEach((one, place) => {
      if (all) one.removeAttribute('name');
      else one.name = 'cause';
      one.open = all || (place === 0 && !NARROW.matches);
    });
  };
  const changed = () => {
    if (list.isConnected) return fit();
    return [WIDE, NARROW].forEach(query => query.removeEventListener('change', changed));
  };
  fit();
  for (const query of [WIDE, NARROW]) query.addEventListener('change', changed);
}
