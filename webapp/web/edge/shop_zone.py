"""The shop's time zone for the page that is being made, read once a request, and moments in it.

One time everywhere: the shop's own first, and UTC small beside it. Kept is UTC alone.
"""

from __future__ import annotations

from zoneinfo import ZoneInfo

from flask import g

from webapp.domain.plain import zones
from webapp.services.shop import reading
from webapp.web.edge.wiring import wiring


def shop_zone() -> str:
    """The zone that the shop's file names; UTC without a shop or without a name."""
    if "shop_zone" not in g:
        g.shop_zone = reading.time_zone(wiring().store)
    zone: str = g.shop_zone
    return zone


def today() -> str:
    """The day of now in the shop's zone, as 2026-11-30."""
    return wiring().now().astimezone(ZoneInfo(shop_zone())).date().isoformat()


def minute(at_utc: str | None) -> str:
    """`2026-11-25T08:03:12.345Z` as `2026-11-25 09:03` in Oslo; an en dash for no time at all."""
    return _written(at_utc, "%Y-%m-%d %H:%M")


def second(at_utc: str | None) -> str:
    """The same with seconds."""
    return _written(at_utc, "%Y-%m-%d %H:%M:%S")


def clock(at_utc: str | None) -> str:
    """Only the time of day, with seconds: for rows whose day stands above them."""
    return _written(at_utc, "%H:%M:%S")


def day(at_utc: str | None) -> str:
    """Only the day."""
    return _written(at_utc, "%Y-%m-%d")


def utc_beside(at_utc: str | None) -> str:
    """What stands small beside the shop's time, `08:03 UTC`; nothing where the shop keeps UTC."""
    return zones.utc_beside(at_utc, shop_zone()) if at_utc else ""


def both(at_utc: str) -> str:
    """Both in one text, for what is printed: `2026-11-25 09:03 +01:00 (08:03 UTC)`."""
    beside = utc_beside(at_utc)
    return f"{shop_moment(at_utc)} ({beside})" if beside else f"{minute(at_utc)} UTC"


def _written(at_utc: str | None, form: str) -> str:
    return zones.shop_time(at_utc, shop_zone()).strftime(form) if at_utc else "–"


def shop_moment(at_utc: str | None) -> str:
    """A moment in the shop's time with day and offset, `2026-11-25 09:30 +01:00`; nothing for no time."""
    return zones.shop_moment(at_utc, shop_zone()) if at_utc else ""


FILTERS = {"moment": minute, "to_seconds": second, "clock": clock, "day": day, "utc_beside": utc_beside}
