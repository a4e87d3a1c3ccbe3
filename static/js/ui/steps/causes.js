/** What may have happened: the likely causes that the sheet carries, the likeliest first, each with what to look at. */
import {nameCauses} from '../../rules/causes.js';
import {displayOf} from '../../rules/compare.js';
import {el} from '../dom.js';
import {say} from '../say.js';

/** The list for a touch, or null where the sheet has no causes or none fits. */
export function causesList(setup, axis, touch) {
  if (!axis.causes || touch.verdict === 'agrees' || touch.difference_nm === null) return null;
  const earlier = setup.state.touches.filter(one => one.kept && one.axis !== touch.axis);
  const copiedNm = setup.state.copied?.values_nm[touch.axis] ?? null;
  const named = nameCauses(touch.value_nm, axis.causes, axis.usual, displayOf(setup.machine), {copiedNm, earlier});
  if (named.length === 0) return el('p', {class: 'causes'}, say('cause.none'));
  return el('ol', {class: 'causes'}, named.map(({code, fields}) => el('li', {}, el('p', {}, say(code, fields)), el('small', {}, say(code.replace('cause.', 'check.'), fields)))));
}
