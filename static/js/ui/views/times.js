/**
 * What the start says of clocks and of the server: how far this tablet's clock is off, by what the ages on
 * the screen are told, and why the server was not reached.
 */
import {say, sayError, sayWith} from '../say.js';
import {notice} from '../text.js';
import {dayAndTime, momentSaid, span} from '../when.js';

/** A clock that is more than two minutes off, or whose date may be wrong; or null. */
export function wrongClock(clock) {
  const {skewMs, isWrong, isFarAhead} = clock;
  if (isFarAhead) return notice('ask', say('tablet.clock.far_ahead', nowAndLast(clock)));
  return isWrong
    ? notice(
        'ask',
        say(skewMs > 0 ? 'tablet.clock.ahead' : 'tablet.clock.behind', {span: span(Math.abs(skewMs))}),
      )
    : null;
}

const nowAndLast = clock => ({now: dayAndTime(clock.nowUtc()), time: dayAndTime(clock.comparedAtUtc)});

/** How old a sheet is; its own time where no age can be told. */
export const ageOfSheet = (clock, compiledAtUtc) =>
  clock.wentBack
    ? say('tablet.start.sheet_of', {time: dayAndTime(compiledAtUtc)})
    : say('tablet.start.sheet_age', {span: span(clock.ageMs(compiledAtUtc))});

/**
 * Why the server was not reached at the last try, when it last was, and what can be done; null while it
 * answers. A browser does not tell a page that it refused a certificate, so the days of the last one that
 * was seen are held against this tablet's own clock.
 */
export function outOfReach({clock, sync}) {
  const {reached, code, fields, certificate} = sync.state;
  if (reached !== false) return null;
  return notice(
    'plain',
    isStranger(code) ? say('tablet.reach.stranger') : sayError({code, fields}),
    ' ',
    clock.comparedAtUtc && sayWith('tablet.reach.last', {time: momentSaid(clock.comparedAtUtc)}),
    ' ',
    outsideItsDays(certificate, clock),
  );
}

/** Something answered, and not with the key of the server that this tablet was taken into use with. */
const isStranger = code => /^(jws|sync)\./.test(code);

function outsideItsDays(certificate, clock) {
  if (!certificate) return null;
  const now = clock.nowUtc();
  if (now >= certificate.from_utc && now < certificate.until_utc) return null;
  return say('tablet.reach.certificate', {
    now: dayAndTime(now),
    from: dayAndTime(certificate.from_utc),
    until: dayAndTime(certificate.until_utc),
  });
}

/** By what the age of a sheet is told, in words. */
export const toldBy = ({basis, comparedAtUtc}) =>
  say(`tablet.clock.by_${basis}`, basis === 'memory' ? {time: dayAndTime(comparedAtUtc)} : {});

/** Why no age can be told at all, or null. */
export const noAge = clock => (clock.wentBack ? say('tablet.clock.went_back', nowAndLast(clock)) : null);
