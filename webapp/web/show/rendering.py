"""What the desk draws and prints: drawings inside a page, PDFs, and the check of a PDF that somebody brings.

Rules: long work runs one at a time, and whoever comes while it runs is told so at once (OWASP ASVS 5.0,
2.4.1); a drawing is text that our own code wrote with an XML library, every word in it escaped there.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from markupsafe import Markup
from werkzeug.exceptions import ServiceUnavailable

from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.record.svg import draw_svg
from webapp.web.show.shown_values import plain

_one = threading.BoundedSemaphore(1)
LONGEST_WAIT_S = 5.0


@contextmanager
def one_at_a_time() -> Iterator[None]:
    """Hold the place for long work;
    raise ServiceUnavailable if another holds it for more than five seconds.
    """
    if not _one.acquire(timeout=LONGEST_WAIT_S):
        raise ServiceUnavailable(retry_after=10)
    try:
        yield
    finally:
        _one.release()


def drawing_of(sheet: WrittenSheet, axis: str | None) -> Markup | None:
    """The drawing of one axis' touch as SVG, None for an axis without one."""
    found = (one["drawing"] for one in sheet["axes"] if one["axis"] == axis)
    return next((Markup(draw_svg(one, plain)) for one in found), None)  # noqa: S704 - as below


def drawings(sheet: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The drawing of each axis as SVG for a page, in the order of touching."""
    return [
        {
            "axis": axis["axis"],
            "search_label": axis["search_label"],
            "face": axis["face"],
            "svg": Markup(draw_svg(axis["drawing"], plain)),  # noqa: S704 - built and escaped by an XML library
            "compact": Markup(draw_svg(axis["drawing"], plain, size="compact")),  # noqa: S704 - the same
        }
        for axis in sheet["axes"]
        if axis.get("drawing")
    ]
