/**
 * The look at the probe's input is too old for a search: raise first.
 * What is looked at again after that, the fold decides.
 */
import {el} from '../dom.js';
import {say} from '../say.js';
import {inputHoldsMs} from '../../rules/setup/touching/input_age.js';
import {machineState, notice} from '../text.js';

/** How long what was seen of the input still holds, in ms; null where nothing is to be told. */
export const holdsMs = setup => inputHoldsMs(setup.machine, setup.state.input_checked_ms, setup.elapsedMs());

/** The screen in place of a search that may not be set. */
export const inputOldStep = ({setup, step, commit}) => ({
  kind: 'input-old',
  title: say('tablet.input_old.title'),
  strip: machineState(setup, step),
  left: [
    el('p', {class: 'lead'}, say('tablet.input_old.why', {minutes: minutesOf(setup)})),
    el('p', {class: 'lead'}, say('tablet.input_old.next')),
  ],
  right: el('p', {class: 'lead'}, say('tablet.input_old.if_not')),
  go: {label: say('tablet.input_old.raised'), action: 'raised', press: () => commit('input.aged', {})},
});

/** Beside a search that is set and may not have been run yet. */
export const inputOldStrip = (setup, raise) =>
  notice('ask', el('p', {}, say('tablet.input_old.not_run', {minutes: minutesOf(setup)})), raise);

const minutesOf = setup => Math.floor((setup.machine.input_age_ms ?? 0) / 60_000);
