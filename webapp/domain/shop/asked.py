"""What is asked about a shop, a machine, a fixture and a probe: one line an input, in the order of a form.

Rules of this module:
- The words of each input (what it is for, its usual size with its source, how to find it) stand in the
  catalogue under `field.KIND.NAME`; a form, a starter file and a shop written out say the same.
- What moves a machine wrongly when it is taken for granted is `needed`: nobody begins with a silent answer.
- `fixed_side`, `touched_end` and `order` ask in a person's words for what a fixture keeps as directions and
  faces.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Literal

from webapp.domain.procedure.profile import CHANGERS, DOORS, DROPPED, STOP_BUTTONS, SWITCHES, WRITERS
from webapp.domain.shop.measures import ZPoint
from webapp.domain.shop.shop import Fixture

Kind = Literal["shop", "machine", "fixture", "probe"]
How = Literal[
    "text", "zone", "length", "um", "feed", "number", "count", "tool", "family", "choice", "truth", "some",
    "travel", "by_axis", "heights", "names", "reference",
]  # fmt: skip
KINDS: tuple[Kind, ...] = ("shop", "machine", "fixture", "probe")
AXES = ("X", "Y", "Z")
SIDES = ("back", "front", "left", "right")
YES_NO = ("yes", "no")


@dataclass(frozen=True)
class Asked:
    """One input: the field that it fills, how it is typed, the group that it stands in.

    `needed`: an item is not made without an answer; else what the class says counts when it is empty.
    `composed`: no field of the item by itself.
    """

    name: str
    how: How
    group: str
    needed: bool = False
    options: tuple[str, ...] = ()
    composed: bool = False

    @property
    def inputs(self) -> tuple[str, ...]:
        """Return the names of what is typed: one, or one for each axis and end."""
        if self.how == "travel":
            return tuple(f"{self.name}.{axis}.{end}" for axis in AXES for end in ("low", "high"))
        if self.how == "by_axis":
            return tuple(f"{self.name}.{axis}" for axis in AXES)
        return (self.name,)


def _truth(name: str, group: str, *, needed: bool = False) -> Asked:
    return Asked(name, "truth", group, needed, YES_NO)


def _measures_that_may_be_left_out(kind: type) -> Iterator[Asked]:
    """Each length of an item that is None where nobody gives it."""
    for one in fields(kind):
        if one.name.endswith("_nm") and one.default is None:
            yield Asked(one.name, "length", "more")


SHOP = (
    Asked("name", "text", "shop", needed=True),
    Asked("lead", "text", "shop", needed=True),
    Asked("time_zone", "zone", "shop", needed=True),
    Asked("search_cap_nm", "length", "search"),
    Asked("safety_factor", "number", "search"),
    Asked("ask_one_in", "count", "lines"),
    Asked("stop_xy_nm", "length", "lines"),
    Asked("stop_z_nm", "length", "lines"),
    Asked("stop_one_in", "count", "lines"),
    Asked("least_ask_nm", "length", "lines"),
    Asked("ceiling_nm", "length", "lines"),
    Asked("coverage_factor", "number", "lines"),
    Asked("temperature_half_range_kelvin", "number", "lines"),
    Asked("expansion_um_per_m_kelvin", "number", "lines"),
    Asked("sheet_hours", "count", "work"),
    Asked("shift_hours", "count", "work"),
    Asked("cautions_once_a_shift", "names", "work"),
)
MACHINE = (
    Asked("name", "text", "name", needed=True),
    Asked("serial", "text", "name"),
    Asked("fixture", "reference", "name", needed=True),
    # Its options are the shop's fixtures: a form asks where there is more than one.
    Asked("more_fixtures", "some", "name"),
    Asked("probe", "reference", "name", needed=True),
    Asked("unit", "choice", "control", needed=True, options=("mm", "in")),
    Asked("decimals", "count", "control", needed=True),
    Asked("travel_nm", "travel", "control", needed=True),
    _truth("z_zero_at_top", "control", needed=True),
    Asked("parked_z_nm", "length", "control"),
    Asked("slot_family", "family", "slots", needed=True),
    Asked("slot_written", "choice", "slots", needed=True, options=WRITERS),
    Asked("confirm_limit_nm", "length", "slots"),
    Asked("probe_tool", "tool", "tools", needed=True),
    Asked("parking_tool", "tool", "tools", needed=True),
    Asked("changer", "choice", "tools", needed=True, options=CHANGERS),
    _truth("feeds_typed", "search", needed=True),
    Asked("fixed_search_nm", "length", "search"),
    Asked("first_feed_mm_per_min", "feed", "search", needed=True),
    Asked("fine_feed_mm_per_min", "feed", "search", needed=True),
    Asked("deceleration_mm_per_s2", "number", "search", needed=True),
    Asked("latency_s", "number", "search", needed=True),
    Asked("door", "choice", "work", needed=True, options=DOORS),
    Asked("probing_stop", "choice", "work", needed=True, options=STOP_BUTTONS),
    _truth("hand_wheel", "work", needed=True),
    Asked("probe_switching", "choice", "work", needed=True, options=SWITCHES),
    Asked("z_point", "choice", "more", options=tuple(ZPoint)),
    Asked("z_length_nm", "length", "more"),
    Asked("u_axis_nm", "by_axis", "more"),
    Asked("reset_drops", "some", "more", options=DROPPED),
    Asked("probe_sleeps_minutes", "count", "more"),
    Asked("input_age_minutes", "count", "more"),
    _truth("spindle_held", "more"),
    _truth("probe_length_repeats", "more"),
    _truth("estop_loses_home", "more"),
    _truth("guarded_lowering", "more"),
    _truth("clamping_face_hidden", "more"),
    _truth("single_block", "more"),
    _truth("warm_up", "more"),
    Asked("kept_from_starting", "text", "more"),
    Asked("probe_rule", "text", "more"),
    Asked("input_shown", "text", "more"),
    Asked("slot_shown", "text", "more"),
)
FIXTURE = (
    Asked("name", "text", "name", needed=True),
    Asked("jaw_length_nm", "length", "measures", needed=True),
    Asked("jaw_thickness_nm", "length", "measures", needed=True),
    Asked("jaw_height_nm", "length", "measures", needed=True),
    Asked("opening_nm", "length", "measures", needed=True),
    Asked("edge_break_nm", "length", "measures", needed=True),
    Asked("fixed_side", "choice", "stands", needed=True, options=SIDES, composed=True),
    Asked("touched_end", "choice", "stands", needed=True, options=("low", "high"), composed=True),
    Asked("order", "choice", "stands", options=("top", "sides"), composed=True),
    *_measures_that_may_be_left_out(Fixture),
    Asked("parallels_nm", "heights", "more"),
    Asked("jaw_steps_nm", "heights", "more"),
    Asked("stops_above_jaw_nm", "length", "more"),
    Asked("square_apart_nm", "length", "more"),
    Asked("u_seat_nm", "um", "more"),
    Asked("expanding_length_nm", "length", "more"),
)
PROBE = (
    Asked("name", "text", "name", needed=True),
    Asked("serial", "text", "name"),
    Asked("ball_diameter_nm", "length", "measures", needed=True),
    Asked("effective_radius_nm", "length", "measures", needed=True),
    Asked("radius_uncertainty_nm", "um", "measures", needed=True),
    Asked("stylus_reach_nm", "length", "measures", needed=True),
    Asked("overtravel_side_nm", "length", "measures", needed=True),
    Asked("overtravel_up_nm", "length", "measures", needed=True),
    Asked("u_probe_nm", "um", "more"),
    Asked("gauge_length_nm", "length", "more"),
)
ASKED: dict[Kind, tuple[Asked, ...]] = {"shop": SHOP, "machine": MACHINE, "fixture": FIXTURE, "probe": PROBE}


def inputs_of(kind: Kind) -> tuple[str, ...]:
    """Return the names of all that can be typed about an item of this kind."""
    return tuple(name for one in ASKED[kind] for name in one.inputs)
