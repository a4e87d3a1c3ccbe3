"""Zerokeep: finding the vise of a shared mill with a spindle probe."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flask import Flask

    from webapp.settings import Settings

__all__ = ["VERSION", "create_app"]

VERSION = "0.1.0"


def create_app(
    settings: Settings,
    now: Callable[[], datetime],
    new_token: Callable[[], str],
    elapsed_s: Callable[[], float] | None = None,
) -> Flask:
    """The whole server, joined: settings, store, keys, files and pages. The only place that knows all rooms.

    `now` gives the aware UTC time, `new_token` at least 128 bits of chance as URL-safe text, `elapsed_s`
    seconds that only grow, to find jumps of the clock by (None: none are looked for while it runs). Raises
    BadSetting, or the named error of the room that cannot start.
    """
    from webapp.composition import compose  # noqa: PLC0415 - importing the package alone must cost nothing

    return compose(settings, now, new_token, elapsed_s)
