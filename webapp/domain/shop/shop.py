"""The shop as data: its rules, machines, fixtures, probes and people, as the lead states them.

Rules of this module:
- Lengths are whole nanometres, feeds mm/min, decelerations mm/s^2, times seconds or hours:
  the unit is in the name.
- A value that cannot be is refused when it is given, by kind, id and field.
  What the arithmetic refuses on top (see `measures`, `slots`) is refused there.
- A fixture says which faces are touched, in which order, and where each looks:
  nothing assumes a jaw at the back.
- Every item turns into plain data and back without loss (`as_plain`, `from_plain`).
- Shipped values are common practice, no source: search cap 6.35 mm, safety factor 2, one false ask in 100 and
  none finer than 0.01 mm (0.0005 in), stop line 0.1 mm in X and Y and 0.2 mm in Z, ceiling 0.5 mm, a sheet
  for one working day. A spindle that is cold grows by some hundredths, which is worth a question and no halt.
- What a shop leaves out of the floor is not nothing, and not one value is 0: `SHIPPED_U_AXIS_NM` and the like
  say what counts then, each with where it comes from; `webapp.domain.shop.left_out` names them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import MISSING, asdict, dataclass, field, fields
from typing import Any, TypeVar

from webapp.domain.evidence.events import SHORT_ID
from webapp.domain.plain.axes import Axis, Face
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.plain.zones import UTC_NAME, is_zone
from webapp.domain.procedure.profile import (
    CHANGERS,
    DOORS,
    DROPPED,
    LONGEST_INPUT_AGE_MINUTES,
    PARKED,
    STOP_BUTTONS,
    SWITCHES,
    WRITERS,
    MachineProfile,
)
from webapp.domain.shop.measures import COMMON_SEARCH_CAP_NM, SHIPPED_SAFETY_FACTOR, ZPoint
from webapp.domain.shop.slots import SlotFamily

FACES = ("left_end", "right_end", "front", "back", "top")
ROLES = ("operator", "lead", "auditor")
# All of these are common practice, no source: a vise seats to 5 um, and 300 mm between it and the machine's
# reference grow with temperature. As standard uncertainties, an axis of an ordinary mill comes back to 3 um
# (ISO 230-2 says how it is found, and no value) and a spindle probe answers within 2 um (ISO 230-10,
# likewise).
SHIPPED_U_SEAT_NM, SHIPPED_EXPANDING_LENGTH_NM = 5_000, 300_000_000
SHIPPED_U_AXIS_NM: Mapping[str, int] = {"X": 3_000, "Y": 3_000, "Z": 3_000}
SHIPPED_U_PROBE_NM = 2_000
LONGEST_NAME = 80
LONGEST_LEAD = 200
LONGEST_SHIFT_HOURS = 12
LEAST_SQUARE_APART_NM = 20_000_000
MOST_HEIGHTS = 8
Item = TypeVar("Item")


class ShopError(DomainError):
    """A value of the shop cannot be taken."""


class ShopFieldError(ShopError):
    """A field holds something that it cannot hold."""

    code = "shop.field_wrong"
    field_names = ("kind", "id", "field", "expected_code")


class ShopFieldsError(ShopError):
    """A field is missing, or stands there that this kind of item does not have."""

    code = "shop.fields"
    field_names = ("kind", "field")


def _require(item: Any, field: str, holds: bool, expected: str) -> None:
    if not holds:
        kind = type(item).__name__.lower()
        name = getattr(item, "id", "")
        raise ShopFieldError(kind=kind, id=str(name), field=field, expected_code=f"expected.{expected}")


def _check_name(item: Any, field: str = "name", longest: int = LONGEST_NAME) -> None:
    value = getattr(item, field)
    plain = isinstance(value, str) and bool(value.strip()) and len(value) <= longest
    _require(item, field, plain and value.isprintable() and not set("{}") & set(value), "name_text")


def _check_serial(item: Any) -> None:
    """A serial number as it stands on the plate, or nothing; a record prints it."""
    value = item.serial
    fits = (
        isinstance(value, str)
        and len(value) <= LONGEST_NAME
        and value.isprintable()
        and not set("{}") & set(value)
    )
    _require(item, "serial", fits, "serial")


def _check_id(item: Any) -> None:
    _require(item, "id", SHORT_ID.passes(item.id), "short_id")


def _check_whole(item: Any, *names: str, least: int) -> None:
    for name in names:
        value = getattr(item, name)
        _require(item, name, type(value) is int and value >= least, "count" if least == 0 else "positive")


def _check_number(item: Any, *names: str, least: float = 0.0) -> None:
    for name in names:
        value = getattr(item, name)
        good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
        _require(item, name, good and value >= least, "number")


@dataclass(frozen=True)
class Person:
    """Somebody with a name of their own and one or more roles."""

    id: str
    name: str
    roles: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "roles", tuple(self.roles))
        _check_id(self)
        _check_name(self)
        _require(self, "roles", bool(self.roles) and set(self.roles) <= set(ROLES), "roles")


@dataclass(frozen=True)
class ShopRules:
    """What the lead decided for the whole shop. `lead` says in words whom to call.

    One false ask in so many touches; the stop line is `stop_xy_nm` in X and Y, `stop_z_nm` in Z, or, where
    `stop_one_in` is given, one false stop in so many; `ceiling_nm` is the stop line's limit; no ask line is
    finer than `least_ask_nm` (None: a hundredth of a millimetre, five ten thousandths of an inch);
    `coverage_factor` None takes the normal quantile. A sheet may be used for `sheet_hours`. `time_zone` is
    shown beside UTC (see `zones`). Who stands in `cautions_once_a_shift` (ids of people) is practised: reads
    the cautions that allow it once in `shift_hours`, and is not asked which jaw stood still where a value of
    theirs counts in the fixture's seating.
    """

    name: str
    lead: str
    search_cap_nm: int = COMMON_SEARCH_CAP_NM
    safety_factor: float = SHIPPED_SAFETY_FACTOR
    ask_one_in: int = 100
    stop_one_in: int | None = None
    stop_xy_nm: int = 100_000
    stop_z_nm: int = 200_000
    least_ask_nm: int | None = None
    ceiling_nm: int = 500_000
    coverage_factor: float | None = None
    temperature_half_range_kelvin: float = 5.0
    expansion_um_per_m_kelvin: float = 11.5
    sheet_hours: int = 12
    shift_hours: int = 8
    cautions_once_a_shift: tuple[str, ...] = ()
    time_zone: str = UTC_NAME

    def __post_init__(self) -> None:
        _check_name(self)
        _check_name(self, "lead", LONGEST_LEAD)
        _check_whole(self, "search_cap_nm", "ceiling_nm", "stop_xy_nm", "stop_z_nm", "sheet_hours", least=1)
        _check_whole(self, "ask_one_in", least=2)
        if self.stop_one_in is not None:
            _check_whole(self, "stop_one_in", least=2)
        if self.least_ask_nm is not None:
            _check_whole(self, "least_ask_nm", least=0)
        _check_number(self, "safety_factor", least=1.0)
        _check_number(self, "temperature_half_range_kelvin", "expansion_um_per_m_kelvin")
        _require(self, "time_zone", is_zone(self.time_zone), "time_zone")
        hours: Any = self.shift_hours
        _require(self, "shift_hours", type(hours) is int and 1 <= hours <= LONGEST_SHIFT_HOURS, "hours")
        ids: Any = self.cautions_once_a_shift
        listed = isinstance(ids, tuple | list) and all(map(SHORT_ID.passes, ids))
        _require(self, "cautions_once_a_shift", listed, "people_listed")
        object.__setattr__(self, "cautions_once_a_shift", tuple(self.cautions_once_a_shift))
        if self.coverage_factor is not None:
            _check_number(self, "coverage_factor")


# Fields of a profile that hold one word out of a few, and those that hold true or false.
ONE_OF = {
    "door": DOORS,
    "changer": CHANGERS,
    "slot_written": WRITERS,
    "probing_stop": STOP_BUTTONS,
    "probe_switching": SWITCHES,
}
TRUE_OR_FALSE = (
    "feeds_typed",
    "estop_loses_home",
    "spindle_held",
    "probe_length_repeats",
    "z_zero_at_top",
    "hand_wheel",
    "guarded_lowering",
    "clamping_face_hidden",
    "single_block",
    "warm_up",
)
SENTENCES = ("slot_shown", "probe_rule", "input_shown", "kept_from_starting")


def _check_profile(machine: MachineProfile) -> None:
    """Check what may be left out of a machine. Raises `ShopFieldError`."""
    for name, words in ONE_OF.items():
        _require(machine, name, getattr(machine, name) in words, name)
    for name in TRUE_OR_FALSE:
        _require(machine, name, isinstance(getattr(machine, name), bool), "truth")
    for name in SENTENCES:
        value = getattr(machine, name)
        fits = isinstance(value, str) and len(value) <= LONGEST_LEAD and value.isprintable()
        _require(machine, name, fits and not set("{}") & set(value), "sentence")
    dropped: Any = machine.reset_drops
    _require(
        machine, "reset_drops", isinstance(dropped, tuple | list) and set(dropped) <= set(DROPPED), "dropped"
    )
    object.__setattr__(machine, "reset_drops", tuple(dropped))
    for name in ("fixed_search_nm", "probe_sleeps_minutes"):
        if getattr(machine, name) is not None:
            _check_whole(machine, name, least=1)
    age = machine.input_age_minutes
    _require(
        machine, "input_age_minutes", type(age) is int and 1 <= age <= LONGEST_INPUT_AGE_MINUTES, "minutes"
    )


@dataclass(frozen=True)
class Machine(MachineProfile):
    """A mill with its control, how it probes, and what is on and in it.

    `travel_nm` holds low and high of each axis in machine coordinates; `confirm_limit_nm` the change of a
    slot beyond which the control asks, None where it never does; `slot_family` what a lead types ("G54-G59");
    `u_axis_nm` the standard uncertainty of positioning by axis (from the ISO 230-2 repeatability). `fixture`
    and `probe` are ids. How it is worked at stands in `MachineProfile`; all of that may be left out. So may
    `z_point`, which point the machine page reads on Z with the probe loaded (see `ZPoint`), with
    `z_length_nm` from the gauge line to the ball's centre; until it is checked at the machine no sheet gives
    a Z coordinate. Where machine Z zero is not at the top, a row of zeros could send the tool down:
    `parked_z_nm` is what Z of a cleared row holds there instead, None: zero.
    """

    id: str
    name: str
    unit: str
    decimals: int
    travel_nm: Mapping[str, tuple[int, int]]
    confirm_limit_nm: int | None
    slot_family: str
    probe_tool: str
    parking_tool: str
    first_feed_mm_per_min: float
    fine_feed_mm_per_min: float
    deceleration_mm_per_s2: float
    latency_s: float
    fixture: str
    probe: str
    u_axis_nm: Mapping[str, int] = field(default_factory=lambda: dict(SHIPPED_U_AXIS_NM))
    z_point: str | None = None
    z_length_nm: int | None = None
    serial: str = ""
    parked_z_nm: int | None = None

    def __post_init__(self) -> None:
        _check_id(self)
        _check_name(self)
        _check_serial(self)
        if self.z_length_nm is not None:
            _check_whole(self, "z_length_nm", least=1)
        _require(self, "z_point", self.z_point in {None, *ZPoint}, "z_point")
        needs_length = self.z_point == ZPoint.GAUGE_LINE
        _require(self, "z_length_nm", not needs_length or self.z_length_nm is not None, "z_length")
        _require(self, "unit", self.unit in tuple(Unit), "unit")
        _ = self.display
        _ = self.labels
        _require(self, "travel_nm", _is_by_axis(self.travel_nm, _is_span), "travel")
        object.__setattr__(self, "travel_nm", {axis: tuple(span) for axis, span in self.travel_nm.items()})
        _require(self, "u_axis_nm", _is_by_axis(self.u_axis_nm, _is_count), "by_axis")
        if self.confirm_limit_nm is not None:
            _check_whole(self, "confirm_limit_nm", least=0)
        for name in ("probe_tool", "parking_tool"):
            tool = getattr(self, name)
            _require(self, name, isinstance(tool, str) and tool.isascii() and tool.isdigit(), "tool")
        _require(self, "parking_tool", int(self.probe_tool) != int(self.parking_tool), "other_tool")
        _check_number(
            self, "first_feed_mm_per_min", "fine_feed_mm_per_min", "deceleration_mm_per_s2", "latency_s"
        )
        for name in ("fixture", "probe"):
            _require(self, name, SHORT_ID.passes(getattr(self, name)), "short_id")
        _check_profile(self)
        _require(self, "parked_z_nm", self._can_be_parked(), "parked")

    @property
    def parked_nm(self) -> dict[str, int]:
        """Return what each axis of a cleared row holds."""
        return {"X": 0, "Y": 0, "Z": self.parked_z_nm or 0}

    def _can_be_parked(self) -> bool:
        """Tell whether display and travel have the value, on a machine whose Z zero is not at the top."""
        value = self.parked_z_nm
        if value is None:
            return True
        low, high = self.travel_nm["Z"]
        shown = type(value) is int and value % self.display.resolution_nm == 0
        return shown and value != 0 and low <= value <= high and not self.z_zero_at_top

    @property
    def conditions(self) -> frozenset[str]:
        """Return what holds at this machine, out of `CONDITIONS`;
        what hangs on the fixture or the axis aside.
        """
        return super().conditions | ({PARKED} if self.parked_z_nm is not None else set())

    @property
    def display(self) -> Display:
        """Return how the control shows lengths. Raises `DisplayNotExactError`."""
        return Display(Unit(self.unit), self.decimals)

    @property
    def labels(self) -> tuple[str, ...]:
        """Return the labels of the machine's slots. Raises a `SlotError`."""
        return SlotFamily.parse(self.slot_family).labels


def _is_by_axis(value: Any, holds: Callable[[Any], bool]) -> bool:
    return isinstance(value, Mapping) and value.keys() == set(Axis) and all(map(holds, value.values()))


def _is_span(value: Any) -> bool:
    if not isinstance(value, tuple | list) or len(value) != 2:
        return False
    return all(type(end) is int for end in value) and value[0] < value[1]


def _are_heights(value: Any) -> bool:
    if not isinstance(value, tuple | list) or not all(_is_count(height) and height for height in value):
        return False
    return len(value) <= MOST_HEIGHTS and len(set(value)) == len(value)


def _is_count(value: Any) -> bool:
    return type(value) is int and value >= 0


@dataclass(frozen=True)
class FixtureFace:
    """A face to touch: which one it is, and where it looks (`normal` +1 or -1 along `axis`, away from the
    jaw).

    `depth_nm` is how deep below the jaw's top the lead wants the ball's centre beside this face, None: as
    usual.
    """

    axis: str
    normal: int
    face: str
    depth_nm: int | None = None

    def __post_init__(self) -> None:
        _require(self, "axis", self.axis in tuple(Axis), "axis")
        _require(self, "normal", type(self.normal) is int and self.normal in {1, -1}, "normal")
        _require(self, "face", self.face in FACES, "face")
        _require(self, "face", (self.face == "top") == (self.axis == "Z"), "face_of_axis")
        _require(self, "normal", self.axis != "Z" or self.normal == 1, "normal_of_top")
        if self.depth_nm is not None:
            _check_whole(self, "depth_nm", least=1)
            _require(self, "depth_nm", self.face != "top", "depth_of_side")

    @property
    def direction(self) -> Face:
        """Return axis and normal as the arithmetic takes them."""
        return Face(Axis(self.axis), self.normal)


@dataclass(frozen=True)
class Fixture:
    """A vise: measures of its fixed jaw, its opening, and the faces to touch in their order.

    `jaw_height_nm` is how far the jaw's face reaches down from its top. `clamping_axis` and
    `clamping_direction` say where the clamping face looks: towards the moving jaw. `u_seat_nm` is how well it
    seats (standard uncertainty), `expanding_length_nm` the length between it and the machine's reference that
    grows with temperature. With `square_apart_nm` above 0 the clamping face is touched at two places that far
    apart, before anything else on it. The top is touched first, so that the height is known, and then the
    others as `faces` has them; with `sides_first` all of them as they stand there. A `self_centring` vise has
    no fixed jaw and is refused.

    May be left out, and likely causes then say nothing of them: `parallels_nm`, the heights of the parallels
    that lie about; `jaw_steps_nm`, how far below the jaw's top its steps lie; `moving_jaw_thickness_nm`.
    `stops_above_jaw_nm` is how far the highest stop or clamp stands above the jaw's top.
    """

    id: str
    name: str
    jaw_length_nm: int
    jaw_thickness_nm: int
    jaw_height_nm: int
    opening_nm: int
    edge_break_nm: int
    clamping_axis: str
    clamping_direction: int
    faces: tuple[FixtureFace, ...]
    u_seat_nm: int = SHIPPED_U_SEAT_NM
    expanding_length_nm: int = SHIPPED_EXPANDING_LENGTH_NM
    square_apart_nm: int = 0
    sides_first: bool = False
    self_centring: bool = False
    parallels_nm: tuple[int, ...] = ()
    jaw_steps_nm: tuple[int, ...] = ()
    moving_jaw_thickness_nm: int | None = None
    stops_above_jaw_nm: int = 0

    def __post_init__(self) -> None:
        _check_id(self)
        _check_name(self)
        _check_whole(self, "jaw_length_nm", "jaw_thickness_nm", "jaw_height_nm", "opening_nm", least=1)
        _check_whole(self, "edge_break_nm", "u_seat_nm", "expanding_length_nm", least=0)
        _require(self, "clamping_axis", self.clamping_axis in {"X", "Y"}, "clamping_axis")
        _require(self, "clamping_direction", self.clamping_direction in {1, -1}, "normal")
        faces = tuple(map(_face, self.faces))
        object.__setattr__(self, "faces", faces)
        axes = [face.axis for face in faces]
        _require(self, "faces", bool(axes) and len(set(axes)) == len(axes), "faces")
        for face in faces:
            _require(self, "faces", self._fits(face), "face_of_vise")
        _check_whole(self, "square_apart_nm", "stops_above_jaw_nm", least=0)
        _require(self, "square_apart_nm", self._can_be_squared(), "square_apart")
        _require(self, "sides_first", isinstance(self.sides_first, bool), "truth")
        _require(self, "self_centring", self.self_centring is False, "fixed_jaw")
        for name in ("parallels_nm", "jaw_steps_nm"):
            heights = getattr(self, name)
            _require(self, name, _are_heights(heights), "heights")
            object.__setattr__(self, name, tuple(heights))
        if self.moving_jaw_thickness_nm is not None:
            _check_whole(self, "moving_jaw_thickness_nm", least=1)

    @property
    def touched_axes(self) -> tuple[str, ...]:
        """Return the axes in the order in which they are touched."""
        axes = [face.axis for face in self.faces]
        return tuple(axes if self.sides_first else sorted(axes, key=lambda axis: axis != "Z"))

    @property
    def fixed_side(self) -> str:
        """Return where the fixed jaw stands as seen by the operator: back, front, left or right."""
        sides = {("Y", -1): "back", ("Y", 1): "front", ("X", 1): "left", ("X", -1): "right"}
        return sides[self.clamping_axis, self.clamping_direction]

    def _can_be_squared(self) -> bool:
        """Tell whether two places that far apart lie on the jaw,
        and the fixture's clamping face is touched.
        """
        if not self.square_apart_nm:
            return True
        on_jaw = LEAST_SQUARE_APART_NM <= self.square_apart_nm < self.jaw_length_nm
        return on_jaw and any(face.axis == self.clamping_axis for face in self.faces)

    @property
    def highest_above_jaw_nm(self) -> int:
        """Return how far the highest thing that the file names stands above the jaw's top,
        0 where nothing does.
        """
        standing = [height - self.jaw_height_nm for height in self.parallels_nm]
        return max(0, self.stops_above_jaw_nm, *standing)

    def extent_nm(self, face: FixtureFace) -> int:
        """Return how far the jaw reaches behind one of its faces."""
        if face.face in {"left_end", "right_end"}:
            return self.jaw_length_nm
        return self.jaw_height_nm if face.face == "top" else self.jaw_thickness_nm

    def _fits(self, face: FixtureFace) -> bool:
        """Tell whether the face lies where a jaw that clamps this way has it."""
        if face.face == "top":
            return True
        if face.face in {"left_end", "right_end"}:
            return face.axis != self.clamping_axis
        return face.axis == self.clamping_axis


@dataclass(frozen=True)
class Probe:
    """A spindle probe with its stylus.
    `gauge_length_nm` is the length that a mistake on Z may leave out (0: none).

    `effective_radius_nm` and `radius_uncertainty_nm` come from its last calibration;
    `u_probe_nm` is the standard uncertainty of probing (from the ISO 230-10 repeatability).
    """

    id: str
    name: str
    ball_diameter_nm: int
    effective_radius_nm: int
    radius_uncertainty_nm: int
    stylus_reach_nm: int
    overtravel_side_nm: int
    overtravel_up_nm: int
    u_probe_nm: int = SHIPPED_U_PROBE_NM
    gauge_length_nm: int = 0
    serial: str = ""

    def __post_init__(self) -> None:
        _check_id(self)
        _check_name(self)
        _check_serial(self)
        _check_whole(
            self, "ball_diameter_nm", "stylus_reach_nm", "overtravel_side_nm", "overtravel_up_nm", least=1
        )
        _check_whole(
            self, "effective_radius_nm", "radius_uncertainty_nm", "u_probe_nm", "gauge_length_nm", least=0
        )


@dataclass(frozen=True)
class Seating:
    """The stretch of time in which the fixture stays where it is bolted."""

    id: str
    since_utc: str


def _face(value: Any) -> FixtureFace:
    return value if isinstance(value, FixtureFace) else from_plain(FixtureFace, value)


def as_plain(item: Any) -> dict[str, object]:
    """Return an item as plain data for JSON."""
    return asdict(item)


def required_fields(kind: Callable[..., Any]) -> list[str]:
    """Return the names of the fields that an item of this kind cannot be without, in their order."""
    found = fields(kind)  # type: ignore[arg-type]
    return [one.name for one in found if one.default is MISSING and one.default_factory is MISSING]


def from_plain(kind: Callable[..., Item], value: Mapping[str, object]) -> Item:
    """Return the item in this plain data. Raises a `ShopError` that names the field at fault."""
    known = {one.name for one in fields(kind)}  # type: ignore[arg-type]
    name = getattr(kind, "__name__", "").lower()
    if not isinstance(value, Mapping):
        raise ShopFieldsError(kind=name, field="")
    unknown = sorted(value.keys() - known)
    missing = [name for name in required_fields(kind) if name not in value]
    if unknown or missing:
        raise ShopFieldsError(kind=name, field=(unknown or missing)[0])
    return kind(**value)
