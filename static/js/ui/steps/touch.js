/**
 * The value that the control shows after the touch, typed as it stands there. Nothing measured is ever filled in; a value that
 * one slip of typing would explain is asked about before it is taken.
 */
import {touchLengthNm, verdict} from '../../rules/touch/compare.js';
import {el} from '../dom.js';
import {say, sayError} from '../say.js';
import {numberKeys} from '../keypad.js';
import {machineState, stepText} from '../text.js';
import {picture} from './search.js';
import {slipsOf, slipsScreen} from './slips.js';
import {typing} from './typing.js';

export function touchStep(context) {
  const {tablet, setup, step, again} = context;
  const axis = setup.axis(step.axis);
  const take = text => {
    const value = touchLengthNm(text, setup.machine, step.axis);
    const judged = verdict(axis.usual, value);
    return tablet.act(async () => {
      await setup.commit('touch.entered', {axis: step.axis, typed: text, value_nm: value, verdict: judged.verdict, difference_nm: judged.difference_nm}, step.id);
      await keepAgreeing(setup, step.axis);
    });
  };
  const asked = setup.draft.slip ?? null;
  if (asked !== null) return slipsScreen(context, {typed: asked, slips: slipsOf(touchLengthNm(asked, setup.machine, step.axis), setup.machine, axis.usual), take});
  const enter = () => {
    const text = fields.value(step.axis).trim();
    let value;
    try {
      value = touchLengthNm(text, setup.machine, step.axis);
    } catch (error) {
      return fields.fail(sayError(error));
    }
    if (slipsOf(value, setup.machine, axis.usual).length === 0) return take(text);
    setup.keepDraft({...setup.draft, slip: text, shows: null});
    return again();
  };
  const label = say('tablet.touch.shown', {axis: step.axis, slot: setup.slotLabel});
  const fields = typing(context, [{name: step.axis, label, unit: setup.machine.unit}], numberKeys());
  return {
    strip: machineState(setup, step),
    left: [picture(context), asSet(axis), stepText(setup, step)],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: step.action, press: enter},
    shown: fields.shown,
  };
}

/** A value that agrees needs no screen of its own: it is kept at once. The next screen says so and leads back to it. */
export async function keepAgreeing(setup, axis) {
  const {keep_because: because} = setup.state;
  if (setup.current?.kind === 'compare' && setup.current.axis === axis && because === 'agrees') await setup.commit('touch.kept', {axis, because});
}

/** Both feeds of the search that is run now, to watch for. */
function asSet({approach, search_label: search}) {
  if (!approach) return null;
  const [first] = approach.first_feed_text.split(' ');
  return el('p', {class: 'place'}, say('tablet.touch.feeds', {search, first, second: approach.fine_feed_text}));
}
