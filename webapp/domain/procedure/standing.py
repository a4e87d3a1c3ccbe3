"""Which steps stand whatever machine they are worked at: no condition lets them fall away.

Rules of this module:
- What a record proves is proven at every machine, so a step of those kinds has no condition. Nor has a
  search, without which a touch has no move before it, nor a caution: who is warned hangs on no profile.
- Such a step may still have other words under a condition: it says something else there, and stands.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import Finding

if TYPE_CHECKING:
    from webapp.domain.procedure.procedure import Procedure

# The procedure is refused without one of these; the last two are what closes and signs it.
REQUIRED = ("caution", "slot", "copy", "touch", "compare", "tool_out", "finish", "sign")
ALWAYS_STANDS = frozenset((*REQUIRED, "search"))


def standing_faults(procedure: Procedure) -> Iterator[Finding]:
    """Yield a reason for each step that always has to stand and has a condition, in reading order."""
    for step in procedure.steps:
        if step.when and step.kind in ALWAYS_STANDS:
            yield Finding(
                "procedure.must_stand", {"step": step.id, "kind": step.kind, "condition": step.when}
            )
