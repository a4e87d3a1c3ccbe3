/**
 * Times for people, in the shop's own zone with its offset, wherever the tablet was last; and how long ago
 * something was. Kept is UTC alone. A sheet from before zones, or a zone that this browser does not know,
 * leaves the tablet's own.
 *
 * A list, or a screen beside the steps, says UTC small behind a time, as the desk does; a step and the quiet
 * line stay short.
 */
import {el} from './dom.js';
import {say} from './say.js';

const MINUTE_MS = 60_000;
let formatter = formatterOf(undefined);

/** Show times in this zone (an IANA name) from now on. */
export function useZone(name) {
  try {
    formatter = formatterOf(name);
  } catch {
    /* not known here: the zone stays as it is */
  }
}

/**
 * An older browser, which cannot write the offset, writes the zone's short name.
 * Throws RangeError for an unknown zone.
 */
function formatterOf(timeZone) {
  const form = timeZoneName =>
    new Intl.DateTimeFormat('en-GB', {
      timeZone,
      hourCycle: 'h23',
      year: 'numeric',
      month: '2-digit',
      day: '2-digit',
      hour: '2-digit',
      minute: '2-digit',
      timeZoneName,
    });
  try {
    return form('longOffset');
  } catch {
    return form('short');
  }
}

/** {day, time, offset}: "2026-11-25", "10:42", "+01:00" or "UTC". */
function parts(atUtc) {
  const found = Object.fromEntries(
    formatter.formatToParts(new Date(atUtc)).map(({type, value}) => [type, value]),
  );
  const {year, month, day, hour, minute, timeZoneName} = found;
  return {
    day: `${year}-${month}-${day}`,
    time: `${hour}:${minute}`,
    offset: timeZoneName.replace('GMT', '') || 'UTC',
  };
}

/** "10:42", in the shop's zone. */
export const clockTime = atUtc => parts(atUtc).time;

/** "2026-11-25, 10:42 +01:00". */
export const dayAndTime = atUtc => say('tablet.when.day_and_time', parts(atUtc));

/**
 * "09:03 UTC", with the day before it where that is another; nothing where the shop keeps UTC: the twin of
 * `utc_beside` in webapp/domain/plain/zones.py.
 */
export function utcBeside(atUtc) {
  if (formatter.resolvedOptions().timeZone === 'UTC') return '';
  const [day, time] = new Date(atUtc).toISOString().split('T');
  return `${day === parts(atUtc).day ? '' : `${day} `}${time.slice(0, 5)} UTC`;
}

/** A moment in a list: the shop's time first, UTC small behind it. */
export const moment = atUtc => marked(atUtc, dayAndTime(atUtc), utcBeside(atUtc));

/** The same of a day that is plain from where it stands: the time alone. */
export const momentOfDay = atUtc => marked(atUtc, clockTime(atUtc), utcBeside(atUtc));

/** The same in a sentence, where UTC stands in brackets. */
export const momentSaid = atUtc => marked(atUtc, dayAndTime(atUtc), bracketed(utcBeside(atUtc)));

const bracketed = beside => beside && `(${beside})`;

/** @returns {[HTMLElement, ' ', HTMLElement] | HTMLElement} */
function marked(atUtc, shown, beside) {
  const time = el('time', {datetime: atUtc}, shown);
  return beside ? [time, ' ', el('small', {class: 'utc'}, beside)] : time;
}

/** "less than a minute", "12 minutes", "3 hours", "2 days". */
export function span(ms) {
  const minutes = Math.floor(ms / MINUTE_MS);
  if (minutes < 1) return say('tablet.when.under_a_minute');
  if (minutes < 120)
    return say(minutes === 1 ? 'tablet.when.minute' : 'tablet.when.minutes', {count: minutes});
  const hours = Math.floor(minutes / 60);
  if (hours < 48) return say('tablet.when.hours', {count: hours});
  return say('tablet.when.days', {count: Math.floor(hours / 24)});
}
