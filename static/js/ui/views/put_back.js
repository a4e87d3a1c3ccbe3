/**
 * Putting another's row back, with the lead: its label typed without being shown,
 * the three old values set from what was copied down, each read back, and the lead's PIN beside it.
 */
import {AXES} from '../../rules/touch/compare.js';
import {el} from '../dom.js';
import {labelKeys} from '../keypad.js';
import {pinField} from '../pin.js';
import {plate} from '../plate.js';
import {say} from '../say.js';
import {rows} from '../choices.js';
import {written} from '../numbers.js';
import {notice} from '../text.js';
import {typing} from '../steps/typing.js';
import {threeValues} from '../steps/values.js';
import {around} from './step.js';

export function putBackView(tablet) {
  const {setup, view} = tablet;
  const context = {tablet, setup, again: () => tablet.refresh()};
  const common = {
    name: 'put-back',
    step: setup.state.current_step,
    ...around(tablet),
    title: say('tablet.put_back.title'),
    beside: [tablet.backButton()],
  };
  if (!view.lead) return {...common, kind: 'put-back', ...who(tablet)};
  if (!setup.draft.back) return {...common, kind: 'put-back-label', ...label(context)};
  return view.values
    ? {...common, kind: 'put-back-pin', ...sealed(tablet)}
    : {...common, kind: 'put-back-values', ...values(context)};
}

function who(tablet) {
  const {setup, view} = tablet;
  const leads = (setup.sheet.leads ?? []).filter(({id}) => id !== setup.person);
  return {
    left: [
      notice('stop', say('tablet.put_back.with_lead', {lead: setup.lead})),
      el('p', {}, say('tablet.put_back.means')),
    ],
    right: rows(
      leads.map(({id, name}) => ({id, label: name})),
      lead => tablet.go({...view, lead}),
      {action: 'lead'},
    ),
  };
}

function label(context) {
  const {setup, again} = context;
  const enter = () => {
    const typed = fields.value('label').trim();
    if (typed === '') return fields.fail(say('tablet.slot.nothing_typed'));
    setup.keepDraft({back: typed});
    return again();
  };
  const fields = typing(
    context,
    [{name: 'label', label: say('tablet.put_back.label_shown')}],
    labelKeys(setup.machine.slot_family),
    'label',
  );
  return {
    left: [waits(setup), el('p', {class: 'lead'}, say('tablet.put_back.select'))],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: say('tablet.put_back.label_go'), action: 'put-back-label', press: enter},
    shown: fields.shown,
  };
}

function values(context) {
  const {tablet, setup} = context;
  const old = setup.state.copied?.values_nm ?? {};
  const three = threeValues(context, {
    note: () => null,
    lastLabel: say('tablet.put_back.read_back'),
    done: ({values: found, typed}) => tablet.go({...tablet.view, values: found, typed}),
  });
  return {
    left: [
      el('p', {class: 'lead'}, say('tablet.put_back.set')),
      el(
        'div',
        {class: 'plates'},
        AXES.map(axis =>
          plate(axis, {value: written(old[axis] ?? 0, setup.machine), unit: setup.machine.unit}),
        ),
      ),
    ],
    right: [el('div', {class: 'three'}, three.fields.plates), three.fields.refused, three.fields.pad],
    go: three.go,
    shown: three.fields.shown,
  };
}

function sealed(tablet) {
  const {setup, view} = tablet;
  const name = (setup.sheet.leads ?? []).find(({id}) => id === view.lead)?.name ?? view.lead;
  const pin = pinField(say('tablet.sign.pin_of', {name}));
  const press = () => {
    if (pin.value() === '') return pin.refuse(say('tablet.sign.nothing_typed'));
    const data = {label: setup.draft.back, typed: view.typed, values_nm: view.values, lead: view.lead};
    return tablet.act(async () => {
      const row = await setup.commit('row.put_back', data, setup.state.current_step, pin.take(), view.lead);
      setup.keepDraft({});
      return row;
    });
  };
  return {
    left: [el('p', {class: 'lead'}, say('tablet.put_back.lead_saw', {name}))],
    right: [pin.element, el('p', {class: 'label'}, say('tablet.lift.no_signature'))],
    go: {label: say('tablet.put_back.go'), action: 'put-back', press},
  };
}

function waits({state: {blocked}}) {
  if (blocked?.code === 'setup.put_back_label')
    return notice('stop', say('tablet.put_back.other_label', blocked.fields));
  if (blocked?.code === 'setup.put_back_value')
    return notice('stop', say('tablet.put_back.other_value', blocked.fields));
  return null;
}
