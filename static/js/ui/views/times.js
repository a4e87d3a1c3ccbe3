/**
 * What the start says of clocks: how far this tablet's is off, and by what the ages on the screen are told.
 */
import {say} from '../say.js';
import {notice} from '../text.js';
import {dayAndTime, span} from '../when.js';

/** A clock that is more than two minutes off, or null. */
export function wrongClock({skewMs, isWrong}) {
  return isWrong
    ? notice(
        'ask',
        say(skewMs > 0 ? 'tablet.clock.ahead' : 'tablet.clock.behind', {span: span(Math.abs(skewMs))}),
      )
    : null;
}

/** By what the age of a sheet is told, in words. */
export const toldBy = ({basis, comparedAtUtc}) =>
  say(`tablet.clock.by_${basis}`, basis === 'memory' ? {time: dayAndTime(comparedAtUtc)} : {});

/** Why no age can be told at all, or null. */
export const noAge = clock =>
  clock.wentBack
    ? say('tablet.clock.went_back', {now: dayAndTime(clock.nowUtc()), time: dayAndTime(clock.comparedAtUtc)})
    : null;
