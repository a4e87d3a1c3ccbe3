"""Likely causes of an odd value: what the sheet carries, and which of it a tablet names.

Rules of this module:
- The server prepares candidates (`prepare`); they depend on no person. The tablet compares (`name_causes`)
  with whole numbers and one quotient of whole numbers, so that server and browser name the same.
- A cause is named when the value lies within three uncertainties of what it predicts,
  and beyond what chance explains (see `cause_facts`). At most three are named.
- What happened at the mill comes before any slip of digits: sizes of balls and parallels are round, so that
  one digit often seems to put right what was a forgotten radius, and a value that lies far off fits some
  digit by chance.
- Of what happened the nearest comes first, in uncertainties; values before ranges; what also explains an
  earlier axis before what does not. Whatever predicts the same as the first within three uncertainties (the
  larger of the two) cannot be told from it by the number: it is marked `alike`, stands beside it, and goes
  before what is not.
- No cause names the value that would fit, nor what it would be made from:
  a touch is read again without knowing it.
- `static/js/rules/causes/named.js` does the same in the browser.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NotRequired

from typing_extensions import ReadOnly, TypedDict

from webapp.domain.causes.facts import Candidate, Known, Measures
from webapp.domain.causes.geometry import geometry_causes
from webapp.domain.causes.reading import (
    OtherSeating,
    OtherSlot,
    RecentTouch,
    left_from_clearing,
    reading_causes,
)
from webapp.domain.causes.typing_slips import Repair, repairs
from webapp.domain.evidence.written_sheet import (
    BesideOnSheet,
    CandidateOnSheet,
    CausesOnSheet,
    Said,
    UsualOnSheet,
)
from webapp.domain.plain.errors import Fields
from webapp.domain.plain.lengths import Display, format_length

MOST_NAMED = 4
WITHIN = 3
# Values come first, then ranges, then slips of digits.
VALUE, RANGE, SLIP = 0, 1, 2

__all__ = [
    "AxisFacts",
    "is_alike",
    "name_causes",
    "prepare",
    "repairs",
    "say_causes",
]


class EarlierTouch(TypedDict):
    """What is asked of a touch of another axis."""

    axis: ReadOnly[str]
    value_nm: ReadOnly[int]
    verdict: ReadOnly[str]


class Named(TypedDict):
    """A cause that is named, and the range that it would have given."""

    code: str
    fields: Fields
    low_nm: int
    high_nm: int
    alike: bool


class _Found(TypedDict):
    code: str
    fields: Fields
    low_nm: int
    high_nm: int
    uncertainty_nm: int
    rank: tuple[int, int, float, int]
    alike: NotRequired[bool]


# A cause's three sentences: what it is, what it would have given, what to check.
Sentences = TypedDict("Sentences", {"is": Said, "gives": Said, "check": Said, "alike": bool})


@dataclass(frozen=True)
class AxisFacts:
    """What causes of one axis are drawn from, besides the other axes.
    `recent`: other people's touches, in time.

    `cleared_nm`: what the axis holds in a cleared row.
    """

    known: Known
    face_name: str
    travel_nm: tuple[int, int]
    slots: Sequence[OtherSlot] = ()
    seatings: Sequence[OtherSeating] = ()
    recent: Sequence[RecentTouch] = ()
    cleared_nm: int = 0


def prepare(axis: str, facts: Mapping[str, AxisFacts], measures: Measures, display: Display) -> CausesOnSheet:
    """Return the part `causes` of one axis on the sheet, as plain data.

    `facts` holds every axis of the sheet by name. What a value inside the travel cannot read is left out,
    and so is what lies so near the usual that chance explains it.
    """
    here = facts[axis]
    known = here.known
    others = {name: other.known for name, other in facts.items() if name != axis}
    found = geometry_causes(known, here.face_name, measures, display)
    found.append(left_from_clearing(here.cleared_nm, display))
    found += reading_causes(
        known, others, here.slots, here.seatings, here.recent, display, measures.largest_move_nm
    )
    return {
        "chance_nm": known.chance_nm,
        "uncertainty_nm": known.uncertainty_nm,
        "candidates": [one.as_dict() for one in found if _can_be_told(one, known, here.travel_nm)],
    }


def _can_be_told(one: Candidate, known: Known, travel_nm: tuple[int, int]) -> bool:
    reach_nm = WITHIN * one.uncertainty_nm
    if one.high_nm + reach_nm < travel_nm[0] or one.low_nm - reach_nm > travel_nm[1]:
        return False
    if known.centre_nm is None or known.chance_nm is None:
        return True
    farthest_nm = max(abs(one.low_nm - known.centre_nm), abs(one.high_nm - known.centre_nm))
    return farthest_nm > known.chance_nm


def name_causes(
    value_nm: int,
    causes: CausesOnSheet,
    usual: UsualOnSheet,
    display: Display,
    *,
    copied_nm: int | None = None,
    own_slot: str | None = None,
    earlier: Sequence[EarlierTouch] = (),
) -> list[Named]:
    """Return at most four causes, the likeliest first: {"code", "fields", "low_nm", "high_nm", "alike"}.

    `causes` and `usual` are the sheet's; `copied_nm` is what the operator's own slot `own_slot` held on this
    axis before it was cleared; `earlier` lists the axes touched before as {"axis", "value_nm", "verdict"}.
    The range is what the cause would have given. `alike` is True for all that cannot be told from the first
    by the number alone.
    """
    centre_nm, chance_nm = usual["centre_nm"], causes["chance_nm"]
    if centre_nm is not None and chance_nm is not None and abs(value_nm - centre_nm) <= chance_nm:
        return []
    read = {one["axis"]: one["value_nm"] for one in earlier}
    alone = all(one["verdict"] == "agrees" for one in earlier)
    found = []
    of_this_setup = _of_this_setup(copied_nm, causes, centre_nm, display)
    for place, one in enumerate([*causes["candidates"], *of_this_setup]):
        off_nm = _apart(value_nm, value_nm, one["low_nm"], one["high_nm"])
        fits = off_nm <= WITHIN * one["uncertainty_nm"] and (alone or not one["alone"])
        if one["code"] == "cause.other_slot" and one["fields"]["slot"] == own_slot:
            continue
        if fits and all(_reads(read, other) for other in one["beside"]):
            found.append(_entry(one, off_nm, place))
    found += [
        _slip(value_nm, one, causes, centre_nm, display, len(found) + place)
        for place, one in enumerate(repairs(value_nm, display, usual))
        if one["tells"] and centre_nm is not None
    ]
    return _ranked(found)


def _of_this_setup(
    copied_nm: int | None,
    causes: CausesOnSheet,
    centre_nm: int | None,
    display: Display,
) -> list[CandidateOnSheet]:
    """Return what only this setup knows:
    the slot's old value, still there, or taken off what the control shows.
    """
    if copied_nm is None:
        return []
    # Three of these are half a step: the value must be the very one.
    found = [Candidate("cause.old_value", copied_nm, copied_nm, max(1, display.resolution_nm // 6))]
    if centre_nm is not None and copied_nm != 0:
        given_nm = centre_nm - copied_nm
        found.append(Candidate("cause.work_coordinates", given_nm, given_nm, causes["uncertainty_nm"]))
    return [one.as_dict() for one in found]


def _reads(read: Mapping[str, int], other: BesideOnSheet) -> bool:
    """Tell whether an earlier axis reads what the candidate says it must."""
    if other["axis"] not in read:
        return False
    return abs(read[other["axis"]] - other["value_nm"]) <= WITHIN * other["uncertainty_nm"]


def _entry(one: CandidateOnSheet, off_nm: int, place: int) -> _Found:
    is_range = one["low_nm"] < one["high_nm"]
    return {
        "code": one["code"],
        "fields": one["fields"],
        "low_nm": one["low_nm"],
        "high_nm": one["high_nm"],
        "uncertainty_nm": one["uncertainty_nm"],
        "rank": (RANGE if is_range else VALUE, -len(one["beside"]), off_nm / one["uncertainty_nm"], place),
    }


def _slip(
    value_nm: int,
    repair: Repair,
    causes: CausesOnSheet,
    centre_nm: int,
    display: Display,
    place: int,
) -> _Found:
    """Return a slip of typing as a cause:
    what it would have given is the value less what the slip makes of the rest.

    A point slipped to the left also loses up to a step of the display.
    """
    off_nm = repair["off_nm"] * repair["up"] // repair["down"]
    given_nm = value_nm - off_nm if repair["repaired_nm"] > centre_nm else value_nm + off_nm
    lost_nm = display.resolution_nm if repair["down"] > 1 else 0
    uncertainty_nm = max(1, causes["uncertainty_nm"] * repair["up"] // repair["down"]) + lost_nm
    return {
        "code": f"cause.{repair['code'].removeprefix('repair.')}",
        "fields": {},
        "low_nm": given_nm,
        "high_nm": given_nm,
        "uncertainty_nm": uncertainty_nm,
        "rank": (SLIP, 0, off_nm / uncertainty_nm, place),
    }


def _apart(low_nm: int, high_nm: int, other_low_nm: int, other_high_nm: int) -> int:
    """Return how far two ranges lie apart, 0 where they meet."""
    return max(0, other_low_nm - high_nm, low_nm - other_high_nm)


def is_alike(one: _Found | CandidateOnSheet, other: _Found | CandidateOnSheet) -> bool:
    """Tell whether two causes predict the same within three uncertainties, the larger of the two."""
    apart_nm = _apart(one["low_nm"], one["high_nm"], other["low_nm"], other["high_nm"])
    return apart_nm <= WITHIN * max(one["uncertainty_nm"], other["uncertainty_nm"])


def _ranked(found: list[_Found]) -> list[Named]:
    if not found:
        return []
    first = min(found, key=lambda entry: entry["rank"])
    for entry in found:
        entry["alike"] = is_alike(entry, first)
    codes = {entry["code"] for entry in found}
    told: list[Named] = []
    for entry in sorted(
        found, key=lambda entry: (entry["rank"][0] == SLIP, not entry["alike"], entry["rank"])
    ):
        code = entry["code"]
        alike_fields = [one["fields"] for one in told if one["code"] == code]
        said = entry["fields"] in alike_fields if code in _SAID_APART else bool(alike_fields)
        if not said and _SAYS_MORE.get(code) not in codes:
            told.append(
                {
                    "code": entry["code"],
                    "fields": entry["fields"],
                    "low_nm": entry["low_nm"],
                    "high_nm": entry["high_nm"],
                    "alike": entry["alike"],
                }
            )
    return told[:MOST_NAMED]


# What says already what another one would: two values exchanged, that one of them stands here.
_SAYS_MORE = {"cause.other_axis": "cause.axes_exchanged", "cause.vise_moved_a_little": "cause.vise_moved"}

# Causes whose fields tell them apart: two slots, two seatings, two parallels are two causes.
_SAID_APART = frozenset({
    "cause.other_slot",
    "cause.other_ball",
    "cause.other_seating",
    "cause.other_axis",
    "cause.other_unit",
    "cause.parallel_on_jaw",
    "cause.parallel_on_bed",
    "cause.jaw_step",
})  # fmt: skip


def say_causes(value_nm: int, named: Sequence[Named], display: Display) -> list[Sentences]:
    """Return codes and fields of each cause's three sentences: what it is, what it gives, what to check."""
    unit, read = display.unit.value, format_length(value_nm, display)
    lines: list[Sentences] = []
    for one in named:
        low, high = (format_length(one[end], display) for end in ("low_nm", "high_nm"))
        code = "cause.gives" if low == high else "cause.gives_between"
        gives: Said = {"code": code, "fields": {"low": low, "high": high, "read": read, "unit": unit}}
        check: Said = {"code": one["code"].replace("cause.", "check.", 1), "fields": dict(one["fields"])}
        is_what: Said = {"code": one["code"], "fields": dict(one["fields"])}
        lines.append({"is": is_what, "gives": gives, "check": check, "alike": one["alike"]})
    return lines
