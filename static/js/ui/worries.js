/** Worries that a lead has not closed: in people's own words, wherever the next person looks. */
import {el} from './dom.js';
import {say, sayWith} from './say.js';
import {moment} from './when.js';

/**
 * Open worries about a sheet's machine, vise or probe, newest first:
 * those on the sheet, and those of this tablet that it does not know of.
 */
export function openWorries({board, machine, fixture, probe}, here = []) {
  const told = board.worries ?? [];
  const known = new Set(told.map(({event}) => event));
  const own = {machine: machine.id, vise: fixture.id, probe: probe.id};
  const more = here.filter(({event, about, things}) => !known.has(event) && things[about] === own[about]);
  return [...more, ...told].sort((one, other) => (one.at_utc < other.at_utc ? 1 : -1));
}

/** One worry as a sentence: what it is about, what it was, by whom and when, and the person's own words.
 * @returns {any[]} its parts
 */
export function worrySentence({worry, text, at_utc: at, by_name: by, thing_name: thing}) {
  const fields = {thing, worry: say(`worry.${worry}`), by, text};
  return sayWith(`tablet.worry.${text ? 'open_words' : 'open'}`, {time: moment(at)}, fields);
}

/** The list for the board; nothing where nothing is open. */
export const worriesList = worries =>
  worries.length > 0 &&
  el(
    'ul',
    {class: 'noted open-worries'},
    worries.map(one => el('li', {data: {worry: one.event}}, worrySentence(one))),
  );
