"""Feeds: how far an axis runs on after the trigger, and the fastest first touch that the stylus bears.

Rules of this module:
- Stopping distance s(v) = v * t + v^2 / (2a): constant deceleration a after a delay t (OpenStax College
  Physics, section 2.5). That the overtravel must take it up, with a safety factor, is common practice, no
  source.
- Largest first feed: the root of s(v) = O / S, v = a * (-t + sqrt(t^2 + 2 O / (S a))), rounded down to what
  is typed at a control: whole mm/min, or tenths of an in/min.
- Feeds are in mm/min. 0.1 in/min is 2.54 mm/min, so a rounded feed has two decimals at most.
"""

from __future__ import annotations

import math

from webapp.domain.plain.lengths import NM_PER_MM, Display, Unit

SECONDS_PER_MINUTE = 60
# The step of a feed as typed at a control, in hundredths of mm/min: 1 mm/min, or 0.1 in/min.
FEED_STEP = {Unit.MM: 100, Unit.INCH: 254}


def stopping_distance_mm(speed_mm_per_s: float, deceleration_mm_per_s2: float, latency_s: float) -> float:
    """Return the way from the trigger to standstill. Any consistent unit of length serves."""
    return speed_mm_per_s * latency_s + speed_mm_per_s**2 / (2 * deceleration_mm_per_s2)


def stopping_distance_nm(feed_mm_per_min: float, deceleration_mm_per_s2: float, latency_s: float) -> int:
    """Return the way from the trigger to standstill in nanometres, rounded up."""
    speed = feed_mm_per_min / SECONDS_PER_MINUTE
    return math.ceil(stopping_distance_mm(speed, deceleration_mm_per_s2, latency_s) * NM_PER_MM)


def largest_feed_mm_per_min(
    allowed_nm: float, deceleration_mm_per_s2: float, latency_s: float, display: Display
) -> float:
    """Return the fastest feed that stops within `allowed_nm`,
    rounded down to the feed's step; 0 where none does.
    """
    allowed_mm = allowed_nm / NM_PER_MM
    a, t = deceleration_mm_per_s2, latency_s
    # The root in the form that loses no digits where the latency's share is large.
    speed = (2 * allowed_mm) / (t + math.sqrt(t * t + 2 * allowed_mm / a))
    step = FEED_STEP[display.unit]
    steps = math.floor(speed * SECONDS_PER_MINUTE * 100 / step)
    while steps > 0 and stopping_distance_nm(steps * step / 100, a, t) > allowed_nm:
        steps -= 1
    return steps * step / 100


def round_feed_down(feed_mm_per_min: float, display: Display) -> float:
    """Return the feed rounded down to what is typed at a control: whole mm/min, or tenths of an in/min."""
    return _steps(feed_mm_per_min, display) * FEED_STEP[display.unit] / 100


def _steps(feed_mm_per_min: float, display: Display) -> int:
    # Rounded first to a millionth: 47.2 in/min is 1198.88 mm/min, which no binary fraction holds.
    return math.floor(round(feed_mm_per_min * 100 / FEED_STEP[display.unit], 6))


def feed_unit(display: Display) -> str:
    """Return the unit of a feed beside this display."""
    return f"{display.unit.value}/min"


def format_feed(feed_mm_per_min: float, display: Display) -> str:
    """Return the feed with its unit, as typed at a control: "1200 mm/min" or "47.2 in/min". Rounded down."""
    steps = _steps(feed_mm_per_min, display)
    number = str(steps) if display.unit is Unit.MM else f"{steps // 10}.{steps % 10}"
    return f"{number} {feed_unit(display)}"
