/** Who stands beside for this step: asked before the step itself is shown, and said on it from then on. */
import {el} from '../dom.js';
import {peopleRows} from '../people.js';
import {say} from '../say.js';
import {machineState, notice} from '../text.js';
import {askedFor, mayStandBeside} from '../../rules/setup/for_whom.js';

export function companyStep({setup, step, commit}) {
  const people = mayStandBeside(setup.sheet, step, setup.person);
  const items = people.map(({id, name}) => ({id, label: name}));
  return {
    kind: 'company',
    title: say(`tablet.company.${setup.state.beside_waits_for}`),
    strip: machineState(setup, step),
    left:
      items.length > 0
        ? peopleRows(items, who => commit('beside.named', {who}), 'beside')
        : notice('stop', say('tablet.company.nobody', {lead: setup.lead})),
    right: [
      el('p', {class: 'lead'}, say('tablet.company.for', {do: setup.fill(step.do)})),
      el('p', {class: 'label'}, say('tablet.company.said_only')),
    ],
  };
}

/** Who was named, on the step that asked. */
export function companyStrip(setup, step) {
  const named = setup.state.beside.findLast(one => one.step === step.id);
  if (!named || !askedFor(setup.sheet, step, setup.person)) return null;
  const who = mayStandBeside(setup.sheet, step, setup.person).find(({id}) => id === named.who);
  return el(
    'div',
    {class: 'strip company'},
    el('span', {}, say('tablet.company.stands', {name: who?.name ?? named.who})),
  );
}
