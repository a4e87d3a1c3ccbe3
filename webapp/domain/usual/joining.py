"""Whether a value may join the usual of itself, and what the usual would be with it.

Rules of this module:
- A value is a first one where its seating has none yet, neither when it was touched nor now.
- It is within where it lay within the ask line that it was touched against and lies within the one of now;
  else beyond. So a value that was right in its day and has been overtaken is put to the lead as well.
- A value beyond the ask line joins only by a choice of the lead that is made apart from accepting the setup.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from webapp.domain.usual.usual import SeatingValues, Usual, verdict

Standing = Literal["first", "within", "beyond"]
AGREES = "agrees"


def standing(value_nm: int, touched_as: str | None, now: Usual | None) -> Standing:
    """Return how a value stands to its usual.

    `touched_as` is the verdict when it was touched, None without a usual then;
    `now` the usual of now, None where it cannot be worked out.
    """
    if touched_as is not None and touched_as != AGREES:
        return "beyond"
    if now is not None and now.centre_nm is not None:
        return "within" if verdict(value_nm, now) == AGREES else "beyond"
    return "first" if touched_as is None else "within"


def with_value(
    history: Sequence[SeatingValues], seating_id: str, setup_id: str, value_nm: int, place: int
) -> tuple[SeatingValues, ...]:
    """Return the history up to a seating with one more value there, at this place in order of time."""
    ids = [seating.seating_id for seating in history]
    known = list(history[: ids.index(seating_id) + 1])
    setup_ids, values_nm = list(known[-1].setup_ids), list(known[-1].values_nm)
    setup_ids.insert(place, setup_id)
    values_nm.insert(place, value_nm)
    known[-1] = replace(known[-1], setup_ids=tuple(setup_ids), values_nm=tuple(values_nm))
    return tuple(known)
