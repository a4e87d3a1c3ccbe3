"""The shop's time zone for the page that is being made, read once a request."""

from __future__ import annotations

from flask import g

from webapp.domain.plain.zones import local_time
from webapp.services.shop import reading
from webapp.web.edge.wiring import wiring


def shop_zone() -> str:
    """The zone that the shop's file names; UTC without a shop or without a name."""
    if "shop_zone" not in g:
        g.shop_zone = reading.time_zone(wiring().store)
    zone: str = g.shop_zone
    return zone


def local(at_utc: str | None) -> str:
    """The shop's time of a moment with its offset, `09:30 +02:00`; nothing where the shop keeps UTC."""
    return (local_time(at_utc, shop_zone()) or "") if at_utc else ""
