"""How somebody may set a machine up: alone, or only with a lead beside.

Rules of this module (the shop's own, no outside source):
- A right that says no level is from before there were levels, and is one to do so alone.
- What is not said again stays: silence makes nobody alone who has to have a lead beside, and loses no note
  of a training. Where several rights stand for one machine, the one with a lead beside counts.
- Nothing here knows who really stands at a machine: a level is told, and nothing checks it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from webapp.domain.plain.levels import ALONE, BESIDE


@dataclass(frozen=True)
class Held:
    """How a right is held: one of `LEVELS`, and what is noted of the training for it (empty: nothing)."""

    level: str
    training: str = ""


def held(rights: Iterable[tuple[str | None, str | None]]) -> Held | None:
    """Return how rights to one machine are held, each as (level, training), oldest first;
    None without any.
    """
    known = list(rights)
    if not known:
        return None
    level = BESIDE if any(one == BESIDE for one, _ in known) else ALONE
    return Held(level, next((note for _, note in reversed(known) if note), ""))
