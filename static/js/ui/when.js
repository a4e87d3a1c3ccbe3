/** Times for people: a clock time of this tablet, and how long ago something was. */
import {say} from './say.js';

const MINUTE_MS = 60_000;

/** "10:42", in the tablet's own time zone. */
export function clockTime(atUtc) {
  const at = new Date(atUtc);
  return `${String(at.getHours()).padStart(2, '0')}:${String(at.getMinutes()).padStart(2, '0')}`;
}

/** "2026-11-25, 10:42". */
export function dayAndTime(atUtc) {
  const at = new Date(atUtc);
  const day = [at.getFullYear(), at.getMonth() + 1, at.getDate()].map(part => String(part).padStart(2, '0')).join('-');
  return say('tablet.when.day_and_time', {day, time: clockTime(atUtc)});
}

/** "less than a minute", "12 minutes", "3 hours", "2 days". */
export function span(ms) {
  const minutes = Math.floor(ms / MINUTE_MS);
  if (minutes < 1) return say('tablet.when.under_a_minute');
  if (minutes < 120) return say(minutes === 1 ? 'tablet.when.minute' : 'tablet.when.minutes', {count: minutes});
  const hours = Math.floor(minutes / 60);
  if (hours < 48) return say('tablet.when.hours', {count: hours});
  return say('tablet.when.days', {count: Math.floor(hours / 24)});
}
