/** The value that the control shows after the touch, typed as it stands there. Nothing measured is ever filled in. */
import {touchLengthNm, verdict} from '../../rules/touch/compare.js';
import {el} from '../dom.js';
import {say, sayError} from '../say.js';
import {numberKeys} from '../keypad.js';
import {machineState, notice, stepText} from '../text.js';
import {picture} from './search.js';
import {typing} from './typing.js';

export function touchStep(context) {
  const {tablet, setup, step} = context;
  const fields = touchField(context, data => tablet.act(async () => {
    await setup.commit('touch.entered', data, step.id);
    await keepAgreeing(setup, step.axis);
  }));
  return {
    strip: machineState(setup, step),
    left: [picture(context), asSet(setup.axis(step.axis)), stepText(setup, step)],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: step.action, press: fields.enter},
    shown: fields.shown,
  };
}

/**
 * The same touch read once more: the field is empty, and nothing on the screen says what was read first, what is usual, or how
 * far apart they lie.
 */
export function readAgainStep(context) {
  const {setup, step, commit} = context;
  const fields = touchField(context, data => commit('touch.read_again', data));
  return {
    title: say('tablet.again.title', {axis: step.axis}), strip: machineState(setup, step),
    left: [notice('ask', el('p', {}, say('tablet.again.why', {axis: step.axis})), el('p', {}, say('tablet.again.how', {axis: step.axis, slot: setup.slotLabel})))],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: say('tablet.again.go'), action: 'read-again', press: fields.enter},
    shown: fields.shown,
  };
}

/** One field for what the control shows; `take` is given what an event says of it. */
function touchField(context, take) {
  const {setup, step} = context;
  const enter = () => {
    const typed = fields.value(step.axis).trim();
    let value;
    try {
      value = touchLengthNm(typed, setup.machine, step.axis);
    } catch (error) {
      return fields.fail(sayError(error));
    }
    return take({axis: step.axis, typed, value_nm: value, ...verdict(setup.axis(step.axis).usual, value)});
  };
  const label = say('tablet.touch.shown', {axis: step.axis, slot: setup.slotLabel});
  const fields = typing(context, [{name: step.axis, label, unit: setup.machine.unit}], numberKeys());
  return {...fields, enter};
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
