/**
 * Is the jaw square to the axis? Two touches on one face, far apart. First how both searches are set,
 * then what the control shows at each place. The angle is told at the step itself and stands in the
 * record; it stops nobody.
 */
import {touchLengthNm} from '../../rules/touch/compare.js';
import {errorOverJaw} from '../../rules/touch/square.js';
import {el} from '../dom.js';
import {numberKeys} from '../keypad.js';
import {distance} from '../numbers.js';
import {plate} from '../plate.js';
import {say, sayError} from '../say.js';
import {machineState, notice, stepText} from '../text.js';
import {framed, gapPlate, searchGrid} from './search.js';
import {typing} from './typing.js';

// A difference above a tenth of the distance is about six degrees:
// more likely one of the two was read or typed wrong.
const SLANTED_PART = 10;
const PLACES = ['first', 'second'];

export function squareStep(context) {
  const {draft} = context.setup;
  if (!draft.set) return planned(context);
  return draft.between ? between(context) : typed(context);
}

/** How both searches are set. */
function planned(context) {
  const {tablet, setup, step, again} = context;
  const {
    sheet: {square},
    machine,
  } = setup;
  const axis = setup.axis(step.axis);
  const press = () => {
    setup.keepDraft({...setup.draft, set: true});
    again();
  };
  return {
    kind: 'square',
    strip: machineState(setup, step),
    left: axis.approach
      ? searchGrid(context, axis, {
          picture: picture(tablet, square),
          plates: places(axis.approach, square, machine),
        })
      : [picture(tablet, square), notice('stop', say('tablet.search.no_approach')), stepText(setup, step)],
    go: {label: say('tablet.square.set'), press},
  };
}

/** How far the ball stands off the face, and where the second place lies. */
function places(approach, square, machine) {
  const apart = distance(square.apart_nm, machine);
  return [
    gapPlate(approach, machine, 'low'),
    plate(say('tablet.square.apart', {along: square.along}), {...apart, value: `+${apart.value}`}, 'high'),
  ];
}

/** From one place to the other: up, over, down. The ball never moves along the jaw while it is low. */
function between({tablet, setup, step, again}) {
  const {
    sheet: {square},
    machine,
  } = setup;
  const apart = distance(square.apart_nm, machine);
  const press = () => {
    setup.keepDraft({...setup.draft, between: false, raised: true, active: 'second'});
    again();
  };
  return {
    kind: 'square',
    title: say('tablet.square.between', {along: square.along}),
    strip: machineState(setup, step),
    left: [
      picture(tablet, square),
      plate(say('tablet.square.apart', {along: square.along}), {...apart, value: `+${apart.value}`}),
    ],
    right: el('p', {class: 'lead'}, say('tablet.square.between_look')),
    go: {label: say('tablet.square.there'), press},
  };
}

/** What the control shows at both places. */
function typed(context) {
  const {tablet, setup, step, commit, again} = context;
  const {
    sheet: {square},
    machine,
  } = setup;
  const placeName = name => say(`tablet.square.${name}`, {axis: step.axis, slot: setup.slotLabel});
  const fields = typing(
    context,
    PLACES.map(name => ({name, label: placeName(name), unit: machine.unit})),
    numberKeys(),
    'compact',
  );
  const {questioned = null} = setup.draft;
  // What this screen asks for. The focus goes over the other field on its way to the button, by keys.
  const asked = fields.active();

  function enter() {
    const texts = PLACES.map(name => fields.value(name).trim());
    const values = [];
    for (const [place, name] of PLACES.entries()) {
      if (texts[place] === '' && name !== asked) continue;
      try {
        values[place] = touchLengthNm(texts[place], machine, step.axis);
      } catch (error) {
        fields.focus(name);
        return fields.fail([`${placeName(name)}: `, sayError(error)]);
      }
    }
    const missing = PLACES.find((_, place) => values[place] === undefined);
    if (missing === 'second' && !setup.draft.raised) {
      setup.keepDraft({...setup.draft, between: true});
      return again();
    }
    if (missing) {
      fields.focus(missing);
      return again();
    }
    const slanted = Math.abs(values[1] - values[0]) * SLANTED_PART > square.apart_nm;
    if (slanted && questioned !== JSON.stringify(values)) {
      setup.keepDraft({...setup.draft, questioned: JSON.stringify(values)});
      return again();
    }
    return commit('square.entered', {
      axis: step.axis,
      typed: texts,
      values_nm: values,
      apart_nm: square.apart_nm,
      ...errorOverJaw(values, square),
    });
  }

  const next = PLACES.find(name => name !== asked && fields.value(name).trim() === '');
  const label = next ? say('tablet.square.next') : questioned ? say('tablet.copy.keep_anyway') : step.action;
  return {
    kind: 'square',
    strip: machineState(setup, step),
    left: [
      picture(tablet, square),
      questioned ? notice('ask', say('tablet.square.slanted')) : stepText(setup, step),
    ],
    right: [el('div', {class: 'both-places'}, fields.plates), fields.refused, fields.pad],
    go: {label, press: enter},
    shown: fields.shown,
  };
}

const picture = (tablet, {drawing}) => framed(drawing, () => tablet.go({name: 'drawing', axis: 'square'}));
