/**
 * The value that the control shows after the touch, typed as it stands there.
 * Nothing measured is ever filled in.
 */
import {touchLengthNm, verdictOn} from '../../rules/touch/compare.js';
import {button, el} from '../dom.js';
import {say, sayError} from '../say.js';
import {numberKeys} from '../keypad.js';
import {shown} from '../numbers.js';
import {plate} from '../plate.js';
import {machineState, notice, stepText} from '../text.js';
import {picture} from './search.js';
import {typing} from './typing.js';

export function touchStep(context) {
  const {tablet, setup, step} = context;
  const byHand = (setup.axis(step.axis).by_hand_nm ?? null) !== null;
  if (byHand && (setup.state.to_enter_nm === null || setup.draft.mistyped)) return triggerStep(context);
  if (byHand && !setup.draft.entered) return enterStep(context);
  const fields = touchField(context, data =>
    tablet.act(async () => {
      await setup.commit('touch.entered', data, step.id);
      await keepAgreeing(setup, step.axis);
    }),
  );
  return {
    strip: byHand ? axesStill(setup, step) : machineState(setup, step),
    ...(byHand && {title: say('tablet.by_hand.read_back', {axis: step.axis, slot: setup.slotLabel})}),
    left: byHand
      ? showAgain(context)
      : [picture(context), asSet(setup.axis(step.axis)), stepText(setup, step)],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: step.action, press: fields.enter},
    shown: fields.shown,
  };
}

/** The slot is written by hand: first where the control says that the probe answered. */
function triggerStep(context) {
  const {setup, step, commit} = context;
  const {axis} = step;
  const fields = lengthField(context, say('tablet.by_hand.trigger', {axis}), (typed, value) =>
    commit('trigger.read', {axis, typed, value_nm: value, surface_nm: value + setup.axis(axis).by_hand_nm}),
  );
  return {
    strip: machineState(setup, step),
    left: [picture(context), asSet(setup.axis(axis)), stepText(setup, step)],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: say('tablet.by_hand.trigger_go'), press: fields.enter},
    shown: fields.shown,
  };
}

/**
 * Then the surface, to be entered: alone on its screen, so that what is read back is read off the control.
 */
function enterStep({setup, step, again}) {
  const {axis} = step;
  const fields = {axis, slot: setup.slotLabel};
  return {
    kind: 'touch-enter',
    title: say('tablet.by_hand.enter', fields),
    strip: axesStill(setup, step),
    left: plate(say('tablet.by_hand.surface', fields), shown(setup.state.to_enter_nm, setup.machine), 'next'),
    right: [
      el('p', {class: 'place'}, say('tablet.by_hand.how')),
      el(
        'div',
        {class: 'ways'},
        button(say('tablet.by_hand.mistyped'), 'trigger-again', () => {
          setup.keepDraft({mistyped: true});
          again();
        }),
      ),
    ],
    go: {
      label: say('tablet.by_hand.entered'),
      action: 'entered',
      press: () => {
        setup.keepDraft({entered: true});
        again();
      },
    },
  };
}

/** What is entered and read back stands still, as where it is compared. */
const axesStill = (setup, {axis}) =>
  machineState(
    setup,
    setup.stages.flatMap(({steps}) => steps).find(one => one.kind === 'compare' && one.axis === axis),
  );

/** The surface that was to be entered where the axis' last touch is another value, else null. */
export function enteredOtherwise({state}, name) {
  const surface = state.triggers.findLast(({axis}) => axis === name)?.surface_nm ?? null;
  return surface === state.touches.findLast(({axis}) => axis === name)?.value_nm ? null : surface;
}

const showAgain = ({setup, again}) =>
  el(
    'div',
    {class: 'ways'},
    button(say('tablet.by_hand.show_again'), 'surface-again', () => {
      setup.keepDraft({});
      again();
    }),
  );

/**
 * The same touch read once more: the field is empty,
 * and nothing on the screen says what was read first, what is usual, or how far apart they lie.
 */
export function readAgainStep(context) {
  const {setup, step, commit} = context;
  const fields = touchField(context, data => commit('touch.read_again', data));
  return {
    title: say('tablet.again.title', {axis: step.axis}),
    strip: machineState(setup, step),
    left: [
      notice(
        'ask',
        el(
          'p',
          {},
          say(enteredOtherwise(setup, step.axis) === null ? 'tablet.again.why' : 'tablet.by_hand.again_why', {
            axis: step.axis,
          }),
        ),
        el('p', {}, say('tablet.again.how', {axis: step.axis, slot: setup.slotLabel})),
      ),
    ],
    right: [fields.plates, fields.refused, fields.pad],
    go: {label: say('tablet.again.go'), action: 'read-again', press: fields.enter},
    shown: fields.shown,
  };
}

/** One field for what the control shows; `take` is given what an event says of it. */
function touchField(context, take) {
  const {
    setup,
    step: {axis},
  } = context;
  const label = say('tablet.touch.shown', {axis, slot: setup.slotLabel});
  return lengthField(context, label, (typed, value) =>
    take({axis, typed, value_nm: value, ...verdictOn(setup.axis(axis).usual, value)}),
  );
}

/** One field for a length of the step's axis; `take` is given what was typed and what it comes to. */
function lengthField(context, label, take) {
  const {
    setup,
    step: {axis},
  } = context;
  const enter = () => {
    const typed = fields.value(axis).trim();
    let value;
    try {
      value = touchLengthNm(typed, setup.machine, axis);
    } catch (error) {
      return fields.fail(sayError(error));
    }
    return take(typed, value);
  };
  const fields = typing(context, [{name: axis, label, unit: setup.machine.unit}], numberKeys());
  return {...fields, enter};
}

/**
 * A value that agrees needs no screen of its own: it is kept at once.
 * The next screen says so and leads back to it.
 */
export async function keepAgreeing(setup, axis) {
  const {keep_because: because} = setup.state;
  if (setup.current?.kind === 'compare' && setup.current.axis === axis && because === 'agrees')
    await setup.commit('touch.kept', {axis, because});
}

/** Both feeds of the search that is run now, to watch for. */
function asSet({approach, search_label: search}) {
  if (!approach) return null;
  const [first] = approach.first_feed_text.split(' ');
  return el(
    'p',
    {class: 'place'},
    say('tablet.touch.feeds', {search, first, second: approach.fine_feed_text}),
  );
}
