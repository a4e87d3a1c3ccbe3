"""Names for the page that is being made, read once a request."""

from __future__ import annotations

from flask import g

from webapp.services.shop import reading
from webapp.web.edge.wiring import wiring


def names() -> dict[str, str]:
    """Names by id, of people and machines."""
    if "names" not in g:
        g.names = reading.names(wiring().store)
    found: dict[str, str] = g.names
    return found
