"""One warm press for all applications of a test process: to start one costs a second of processor each.

The press itself, its beginning and its end have their tests in `tests/record/test_press.py`, which starts
presses of its own; so does every server that tests start as a process.
"""

from __future__ import annotations

import atexit
from functools import cache

from webapp import composition
from webapp.record.press import Press


class Lent(Press):
    """A press that an application cannot close, because the next one prints with it too."""

    def close(self) -> None:
        """Stay."""


@cache
def lent() -> Press:
    """The press of this process, which ends with it."""
    press = Lent()
    atexit.register(Press.close, press)
    return press


def share_the_press() -> None:
    """From now on, in this process."""
    composition.Press = lent  # type: ignore[assignment, misc]
