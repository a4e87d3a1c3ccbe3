/**
 * States in which nothing can be recorded, in plain words, with what to do.
 * Nothing here claims that anything was kept.
 */
import {el} from '../dom.js';
import {say} from '../say.js';

/** This browser cannot be used: `code` says which of its abilities is missing. */
export const notPossibleView = (code, fields = {}) => ({
  name: 'not-possible',
  kind: code,
  title: say('tablet.not_possible.title'),
  left: [el('p', {class: 'lead'}, say(code, fields)), el('p', {}, say('tablet.not_possible.paper'))],
});

/** Keeping failed while a setup runs: what was pressed last is not kept, all before it is. */
export const notKeptView = (code, press) => ({
  name: 'not-kept',
  kind: code,
  title: say('tablet.not_kept.title'),
  left: [el('p', {class: 'lead'}, say(code)), el('p', {}, say('tablet.not_kept.last'))],
  go: {label: say('tablet.not_kept.open_again'), action: 'reload', press},
});

/** Another tab of this tablet has the setup: this one only watches. */
export const elsewhereView = press => ({
  name: 'elsewhere',
  title: say('tablet.elsewhere.title'),
  left: el('p', {class: 'lead'}, say('tablet.elsewhere.means')),
  go: {label: say('tablet.elsewhere.look_again'), action: 'reload', press},
});
