/** People to choose from, each one tap; a field for a part of the name where they are many. */
import {el} from './dom.js';
import {rows} from './choices.js';
import {say} from './say.js';

const FILTER_FROM = 13;

/** Rows of {id, label, note?, ended?}, by their names. */
export function peopleRows(items, pick, action) {
  const sorted = [...items].sort((one, other) => one.label.localeCompare(other.label));
  const list = el('div', {});
  const show = part =>
    list.replaceChildren(
      rows(
        sorted.filter(({label}) => label.toLowerCase().includes(part.trim().toLowerCase())),
        pick,
        {action, kind: 'pairs people'},
      ),
    );
  show('');
  const filter =
    sorted.length >= FILTER_FROM &&
    el('input', {
      type: 'search',
      placeholder: say('tablet.start.filter'),
      'aria-label': say('tablet.start.filter'),
      on: {input: event => show(event.target.value)},
    });
  return [filter, list];
}
