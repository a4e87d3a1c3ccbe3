/**
 * The tablet's tables. A change of the layout is a new step at the end of STEPS,
 * never a change of an old one.
 *
 * events     one row an event: {id, device, sequence, setup, jws, payload, pin, waiting, outcome};
 *            `waiting` is 1 until a verified receipt for that id came and then taken away,
 *            so the index `waiting` is the outbox; it is 2 where the server refused the event for good:
 *            kept and shown, and sent again only seldom
 * chain      one row a device: {device, sequence, head}
 * keys       the device's own pair and the server's pinned keys
 * sheets     {hash, machine, text, got_at_utc}
 * used_sheets  {hash, text, tag}: those that a setup was begun on, as long as its events are held; the server
 *              may lose its own
 * decisions  {setup, texts}
 * photos     {event, setup, bytes, waiting, outcome}: pictures, by the event that names them (photos.js)
 * step_pictures  {sha256, bytes}: pictures that steps show, by hash, as long as a held sheet names them
 * drafts     {setup, step, typed}: what stands half typed
 * notes      small things of this tablet: {name, value}
 */
const STEPS = [
  database => {
    const events = database.createObjectStore('events', {keyPath: 'id'});
    events.createIndex('place', ['device', 'sequence'], {unique: true});
    events.createIndex('setup', ['setup', 'device', 'sequence']);
    events.createIndex('waiting', ['waiting', 'device', 'sequence']);
    database.createObjectStore('chain', {keyPath: 'device'});
    database.createObjectStore('keys', {keyPath: 'name'});
    database.createObjectStore('sheets', {keyPath: 'hash'});
    database.createObjectStore('decisions', {keyPath: 'setup'});
    database.createObjectStore('drafts', {keyPath: ['setup', 'step']});
    database.createObjectStore('notes', {keyPath: 'name'});
  },
  database => {
    database.createObjectStore('used_sheets', {keyPath: 'hash'});
  },
  database => {
    const photos = database.createObjectStore('photos', {keyPath: 'event'});
    photos.createIndex('setup', 'setup');
    photos.createIndex('waiting', 'waiting');
  },
  database => {
    database.createObjectStore('step_pictures', {keyPath: 'sha256'});
  },
];

export const VERSION = STEPS.length;

export function upgrade(database, from) {
  for (const step of STEPS.slice(from)) step(database);
}
