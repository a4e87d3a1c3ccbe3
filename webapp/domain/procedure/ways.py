"""The way to each search: its own step that brings the ball over the face, with Z up.

Rule of this module: whoever sets up, alone or with a lead beside, has that step before each search, and
before each look for square, since the touch before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import Finding
from webapp.domain.plain.levels import LEVELS
from webapp.domain.procedure.company import at_level

if TYPE_CHECKING:
    from webapp.domain.procedure.procedure import Procedure, Step


def over_faults(procedure: Procedure) -> Iterator[Finding]:
    """Yield a reason for each search without its own way over, once however many people lack it."""
    found = {step for level in LEVELS for step in _without_over(at_level(procedure, level))}
    lacking = set(_without_over(procedure))
    for step in procedure.steps:
        if step.id in lacking:
            yield Finding("procedure.search_without_over", {"step": step.id})
        elif step.id in found:
            yield Finding("procedure.search_without_over_for_all", {"step": step.id})


def _without_over(procedure: Procedure) -> Iterator[str]:
    for stage in procedure.stages:
        yield from _in_stage(stage.steps)


def _in_stage(steps: Iterable[Step]) -> Iterator[str]:
    stands_over = False
    for step in steps:
        if step.kind in {"search", "square"} and not stands_over:
            yield step.id
        if step.kind in {"touch", "square"}:
            stands_over = False
        stands_over = stands_over or step.kind == "over"
