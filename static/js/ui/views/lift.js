/**
 * The lead at the tablet: a stop lifted by the lead's own PIN, sealed here and checked by the server at once.
 * Without the server nothing is lifted and nothing is kept. The PIN lifts this stop and signs nothing.
 */
import {el} from '../dom.js';
import {say} from '../say.js';
import {rows} from '../choices.js';
import {notice, ownWords} from '../text.js';
import {pinField} from '../pin.js';
import {around} from './step.js';

export function liftView(tablet) {
  const {setup, view} = tablet;
  const {axis, lead = null, decision = null, said = null} = view;
  const leads = (setup.sheet.leads ?? []).filter(({id}) => id !== setup.person);
  const common = {
    name: 'lift',
    kind: 'lift',
    step: setup.state.current_step,
    ...around(tablet),
    title: say('tablet.lift.title', {axis}),
    beside: [tablet.backButton()],
  };
  if (lead === null)
    return {
      ...common,
      left: [said && notice('stop', said), el('p', {class: 'lead'}, say('tablet.lift.means'))],
      right: rows(
        leads.map(({id, name}) => ({id, label: name})),
        id => tablet.go({...view, lead: id}),
        {action: 'lead'},
      ),
    };
  const name = leads.find(({id}) => id === lead)?.name ?? lead;
  if (decision === null)
    return {
      ...common,
      left: [el('p', {class: 'lead'}, say('tablet.lift.which', {name, axis}))],
      right: rows(
        decisions(setup, axis).map(id => ({id, label: say(`tablet.lift.${id}`, {axis})})),
        id => tablet.go({...view, decision: id}),
        {action: 'decision'},
      ),
    };
  const own = ownWords(setup, 'lift', say('tablet.lift.reason'));
  const pin = pinField(say('tablet.sign.pin_of', {name}));
  const press = async () => {
    if (pin.value() === '') return pin.refuse(say('tablet.sign.nothing_typed'));
    pin.refuse(say('tablet.lift.asking'), 'plain');
    return lift(
      tablet,
      {axis, lead, decision, reason: own.words() || say(`tablet.lift.${decision}`, {axis})},
      pin.take(),
    );
  };
  return {
    ...common,
    left: [
      said && notice('stop', said),
      el('p', {class: 'lead'}, say(`tablet.lift.says_${decision}`, {name, axis})),
      own.parts,
    ],
    right: [pin.element, el('p', {class: 'label'}, say('tablet.lift.no_signature'))],
    go: {label: say('tablet.lift.go'), action: 'lift-check', press},
  };
}

/** At a comparison the value may stand, or be touched again; before a touch only the latter. */
const decisions = (setup, axis) =>
  setup.current?.kind === 'compare' && setup.current.axis === axis
    ? ['go_on', 'touch_again']
    : ['touch_again'];

async function lift(tablet, data, pin) {
  const {setup, view} = tablet;
  await tablet.sync.run();
  if (!tablet.sync.state.reached)
    return tablet.go({...view, said: say('tablet.lift.offline', {lead: setup.lead})});
  await tablet.act(() => setup.commit('stop.lifted', data, setup.state.current_step, pin, data.lead), {
    stay: true,
  });
  await tablet.sync.run();
  await setup.readDecisions();
  const given = setup.state.lifts.at(-1);
  if (given?.state === 'verified') return tablet.go({name: 'step'});
  if (given?.state === 'refused') return tablet.go({...view, said: refusal(given, setup.lead)});
  return tablet.go({...view, said: say('tablet.lift.no_answer')});
}

/** Why a PIN did not count, and how many tries are left before it has to wait. */
export const refusal = ({refused_because: because, tries_left: left}, lead) => [
  say(`tablet.lift.refused_${because}`, {lead}),
  because === 'wrong_pin' &&
    left !== null && [
      ' ',
      say(left === 1 ? 'tablet.sign.try_left' : 'tablet.sign.tries_left', {count: left}),
    ],
];
