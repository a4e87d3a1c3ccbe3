/**
 * Handing a setup to somebody else in the middle:
 * it ends at a stow, and they begin anew in a slot of their own.
 */
import {el} from '../dom.js';
import {say} from '../say.js';
import {rows} from '../choices.js';
import {around} from './step.js';

export function handingView(tablet) {
  const {setup} = tablet;
  const people = setup.sheet.people
    .filter(({id}) => id !== setup.person)
    .sort((one, other) => one.name.localeCompare(other.name));
  return {
    name: 'handing',
    kind: 'handing',
    step: setup.state.current_step,
    title: say('tablet.handing.title'),
    ...around(tablet),
    left: [el('p', {class: 'lead'}, say('tablet.handing.means')), el('p', {}, say('tablet.handing.then'))],
    right: rows(
      people.map(({id, name}) => ({id, label: name})),
      to => tablet.act(() => setup.commit('setup.handed_over', {to})),
      {action: 'hand-to', kind: 'pairs'},
    ),
    beside: [tablet.backButton()],
  };
}
