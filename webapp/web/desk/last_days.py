"""Last days of rights and slots as forms show and take them: days of the shop's zone, each counts whole."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from webapp.services.shop import inviting
from webapp.services.times import utc_text
from webapp.web.edge.shop_zone import shop_zone
from webapp.web.edge.wiring import wiring


def last_day(until_utc: str | None) -> str:
    """The last day of what ends at a time (exclusive), as 2027-01-31; empty for what has no end."""
    if until_utc is None:
        return ""
    end = datetime.fromisoformat(until_utc).astimezone(ZoneInfo(shop_zone()))
    return (end - timedelta(microseconds=1)).date().isoformat()


def end_of(typed: str | None, *stands: str | None) -> str | None:
    """The end of a day as it was typed; None without one. Raises DayIsOver.

    Where something that `stands` ends later on that very day its end stays: a press without typing changes
    nothing.
    """
    day, now = (typed or "").strip(), wiring().now()
    if not day:
        return None
    same = (one for one in stands if one and one > utc_text(now) and last_day(one) == day)
    return next(same, None) or inviting.end_of_day(date.fromisoformat(day), shop_zone(), now)
