"""What is likely behind each odd touch of a setup, from its sheet and its fold:
for the lead's desk and the record.

Rules of this module:
- It is worked out as the tablet worked it out: each touch with the last touch of every other axis before it,
  kept or not, with the slot's old value and the operator's own slot. Whoever entered the touch was asked
  about slips first.
- A touch that agrees has nothing to be explained. A sheet from before sheets carried causes explains nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from webapp.domain.causes.named import Named, name_causes, say_causes
from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.written_sheet import CausesOnSheet, Said, WrittenSheet
from webapp.domain.touch.compare import display_of


@dataclass(frozen=True)
class NamedCause:
    """One cause of one touch. `says`, `gives` and `check` are {"code", "fields"}.

    `off_nm` is how far the touch lies from what it would have given; `uncertainty_nm` the standard
    uncertainty of that, None for a slip of typing, whose own arithmetic is in digits.
    """

    code: str
    says: Said
    gives: Said
    check: Said
    alike: bool
    low_nm: int
    high_nm: int
    off_nm: int
    uncertainty_nm: int | None


def causes_of_touch(sheet: WrittenSheet, state: Folded, place: int) -> tuple[NamedCause, ...] | None:
    """Return the causes named for the touch at `place` of the fold's touches, the likeliest first.

    Empty where no known mistake gives this value; None where nothing is to be explained.
    """
    touch = state["touches"][place]
    axis = next(one for one in sheet["axes"] if one["axis"] == touch["axis"])
    causes, display = axis.get("causes"), display_of(sheet["machine"])
    if causes is None or touch["verdict"] == "agrees":
        return None
    last = {one["axis"]: one for one in state["touches"][:place] if one["axis"] != touch["axis"]}
    copied = state["copied"]
    named = name_causes(
        touch["value_nm"],
        causes,
        axis["usual"],
        display,
        copied_nm=None if copied is None else copied["values_nm"][touch["axis"]],
        own_slot=state["slot"],
        earlier=list(last.values()),
    )
    if not named and touch["difference_nm"] is None:
        return None
    said = say_causes(touch["value_nm"], named, display)
    return tuple(
        NamedCause(
            code=one["code"],
            says=lines["is"],
            gives=lines["gives"],
            check=lines["check"],
            alike=one["alike"],
            low_nm=one["low_nm"],
            high_nm=one["high_nm"],
            off_nm=_off_nm(touch["value_nm"], one),
            uncertainty_nm=_uncertainty_nm(one, causes),
        )
        for one, lines in zip(named, said, strict=True)
    )


def _off_nm(value_nm: int, one: Named) -> int:
    """Return read less given, 0 inside a range."""
    nearest_nm: int = min(max(value_nm, one["low_nm"]), one["high_nm"])
    return value_nm - nearest_nm


def _uncertainty_nm(one: Named, causes: CausesOnSheet) -> int | None:
    wanted = one["code"], one["fields"], one["low_nm"], one["high_nm"]
    for candidate in causes["candidates"]:
        if (candidate["code"], candidate["fields"], candidate["low_nm"], candidate["high_nm"]) == wanted:
            return candidate["uncertainty_nm"]
    return None
