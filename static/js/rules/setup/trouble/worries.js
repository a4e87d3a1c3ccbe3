/**
 * Worries: what each is about, and whether that is kept from use.
 * The twin of webapp/domain/setup/trouble/worries.py, where the rules stand.
 */
import {note} from '../state.js';

const TOLD = 'other';
export const WORRIES = {
  hit_something: {about: 'probe', blocks: true},
  stylus_bent: {about: 'probe', blocks: true},
  fell: {about: 'probe', blocks: true},
  probe_looks_wrong: {about: 'probe', blocks: true},
  vise_loose: {about: 'vise', blocks: true},
  wrong_place: {about: 'vise', blocks: false},
  machine_looks_wrong: {about: 'machine', blocks: false},
  somebody_in_the_way: {about: null, blocks: false},
  [TOLD]: {about: null, blocks: false},
};

/** Something is off. An event from before worries named anything names nothing, whatever its kind. */
export function raiseWorry(state, event) {
  const {worry, text, about} = event.data;
  const rule = WORRIES[worry];
  const names = about !== undefined;
  const told = worry === TOLD ? (about ?? null) : rule.about;
  if (names && about !== told)
    note(state, event, 'setup.worry_about_differs', {about_code: `about.${about ?? 'nothing'}`});
  state.worries.push({
    worry,
    text,
    step: event.step,
    at_utc: event.at_utc,
    event: event.id,
    about: names ? told : null,
    blocks: names && rule.blocks,
    closed: state.worriesClosed.get(event.id) ?? null,
  });
}

/** A lead closed the worry of this event, by a check or with a reason. */
export function closeWorry(state, eventId, closed) {
  state.worriesClosed.set(eventId, closed);
  for (const worry of state.worries) if (worry.event === eventId) worry.closed = closed;
}

/**
 * The worries that keep this sheet's probe or vise from use, as problems: no setup should have begun on it.
 */
export function noteOpenWorries(state, event) {
  for (const {worry, about, text, blocks} of state.sheet.board.worries ?? []) {
    if (blocks)
      note(state, event, 'setup.began_despite_worry', {
        text,
        worry_code: `worry.${worry}`,
        about_code: `about.${about}`,
      });
  }
}
