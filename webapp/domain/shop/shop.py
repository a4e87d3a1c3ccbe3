"""The shop as data: its rules, machines, fixtures, probes and people, as the lead states them.

Rules of this module:
- Lengths are whole nanometres, feeds mm/min, decelerations mm/s^2, times seconds or hours:
  the unit is in the name.
- A value that cannot be is refused when it is given, by kind, id and field.
  What the arithmetic refuses on top (see `measures`, `slots`) is refused there.
- A fixture says which faces are touched, in which order, and where each looks:
  nothing assumes a jaw at the back.
- Shipped values are common practice, no source: search cap 6.35 mm, safety factor 2, one false ask in 100 and
  none finer than 0.01 mm (0.0005 in), stop line 0.1 mm in X and Y and 0.2 mm in Z, ceiling 0.5 mm, a sheet
  for one working day. A spindle that is cold grows by some hundredths, which is worth a question and no halt.
- What a shop leaves out of the floor is not nothing, and not one value is 0: `SHIPPED_U_AXIS_NM` and the like
  say what counts then, each with where it comes from; `webapp.domain.shop.left_out` names them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any

from pydantic import Field

from webapp.domain.evidence.event_kinds import ShortId
from webapp.domain.plain.axes import Axis, Face
from webapp.domain.plain.declared import Expected
from webapp.domain.plain.field_types import (
    BY_AXIS,
    DIFFERENT,
    LIST,
    RISING,
    Count,
    Factor,
    ItemName,
    LeadText,
    Number,
    OneIn,
    Positive,
    Serial,
    Truth,
    holding,
    one_of,
    some_of,
)
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.plain.zones import UTC_NAME, is_zone
from webapp.domain.procedure.profile import PARKED, MachineProfile
from webapp.domain.shop.fields import check_fields, from_plain, keep_as_tuple, require
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
LONGEST_SHIFT_HOURS = 12
LEAST_SQUARE_APART_NM = 20_000_000
MOST_HEIGHTS = 8
MOST_MORE_FIXTURES = 7

Roles = Annotated[tuple[str, ...], LIST, Field(min_length=1), some_of(ROLES), Expected("expected.roles")]
ZoneName = Annotated[str, holding(is_zone), Expected("expected.time_zone")]
ShiftHours = Annotated[int, Field(ge=1, le=LONGEST_SHIFT_HOURS), Expected("expected.hours")]
PeopleListed = Annotated[tuple[ShortId, ...], LIST, Expected("expected.people_listed")]
UnitName = Annotated[str, one_of(Unit), Expected("expected.unit")]
Span = Annotated[tuple[int, int], LIST, RISING]
Travel = Annotated[Mapping[str, Span], BY_AXIS, Expected("expected.travel")]
SpreadByAxis = Annotated[Mapping[str, Annotated[int, Field(ge=0)]], BY_AXIS, Expected("expected.by_axis")]
FamilyText = Annotated[str, Expected("expected.slot_family")]
ToolNumber = Annotated[str, Field(pattern=r"^[0-9]+$"), Expected("expected.tool")]
MoreFixtures = Annotated[
    tuple[ShortId, ...],
    LIST,
    Field(max_length=MOST_MORE_FIXTURES),
    DIFFERENT,
    Expected("expected.more_fixtures"),
]
ZPointName = Annotated[str, one_of(ZPoint), Expected("expected.z_point")]
Parked = Annotated[int | None, Expected("expected.parked")]
AxisLetter = Annotated[str, one_of(Axis), Expected("expected.axis")]
ClampingAxis = Annotated[str, one_of(("X", "Y")), Expected("expected.clamping_axis")]
Sign = Annotated[int, one_of((1, -1)), Expected("expected.normal")]
FaceName = Annotated[str, one_of(FACES), Expected("expected.face")]
NotSelfCentring = Annotated[bool, one_of((False,)), Expected("expected.fixed_jaw")]
Heights = Annotated[
    tuple[Positive, ...], LIST, Field(max_length=MOST_HEIGHTS), DIFFERENT, Expected("expected.heights")
]


@dataclass(frozen=True)
class Person:
    """Somebody with a name of their own and one or more roles; out of use they sign in and sign nothing."""

    id: ShortId
    name: ItemName
    roles: Roles
    in_use: bool = True

    def __post_init__(self) -> None:
        check_fields(self)
        keep_as_tuple(self, "roles")


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

    name: ItemName
    lead: LeadText
    search_cap_nm: Positive = COMMON_SEARCH_CAP_NM
    safety_factor: Factor = SHIPPED_SAFETY_FACTOR
    ask_one_in: OneIn = 100
    stop_one_in: OneIn | None = None
    stop_xy_nm: Positive = 100_000
    stop_z_nm: Positive = 200_000
    least_ask_nm: Count | None = None
    ceiling_nm: Positive = 500_000
    coverage_factor: Number | None = None
    temperature_half_range_kelvin: Number = 5.0
    expansion_um_per_m_kelvin: Number = 11.5
    sheet_hours: Positive = 12
    shift_hours: ShiftHours = 8
    cautions_once_a_shift: PeopleListed = ()
    time_zone: ZoneName = UTC_NAME

    def __post_init__(self) -> None:
        check_fields(self)
        keep_as_tuple(self, "cautions_once_a_shift")


@dataclass(frozen=True)
class Machine(MachineProfile):
    """A mill with its control, how it probes, and what is on and in it.

    `travel_nm` holds low and high of each axis in machine coordinates; `confirm_limit_nm` the change of a
    slot beyond which the control asks, None where it never does; `slot_family` what a lead types
    ("G54-G59"); `u_axis_nm` the standard uncertainty of positioning by axis (from the ISO 230-2
    repeatability). `fixture` and `probe` are ids, `more_fixtures` those of the others that are bolted to
    it: a setup begins with one of them. How it is worked at stands in `MachineProfile`; all of that may
    be left out. So may `z_point`, which point the machine page reads on Z with the probe loaded (see
    `ZPoint`), with `z_length_nm` from the gauge line to the ball's centre; until it is checked at the
    machine no sheet gives a Z coordinate. Where machine Z zero is not at the top, a row of zeros could
    send the tool down: `parked_z_nm` is what Z of a cleared row holds there instead, None: zero.
    """

    id: ShortId
    name: ItemName
    unit: UnitName
    decimals: Count
    travel_nm: Travel
    confirm_limit_nm: Count | None = field(default=None, kw_only=True)
    slot_family: FamilyText
    probe_tool: ToolNumber
    parking_tool: ToolNumber
    first_feed_mm_per_min: Number
    fine_feed_mm_per_min: Number
    deceleration_mm_per_s2: Number
    latency_s: Number
    fixture: ShortId
    probe: ShortId
    u_axis_nm: SpreadByAxis = field(default_factory=lambda: dict(SHIPPED_U_AXIS_NM))
    z_point: ZPointName | None = None
    z_length_nm: Positive | None = None
    serial: Serial = ""
    parked_z_nm: Parked = None
    more_fixtures: MoreFixtures = ()

    def __post_init__(self) -> None:
        check_fields(self)
        keep_as_tuple(self, "reset_drops", "more_fixtures")
        object.__setattr__(self, "travel_nm", {axis: tuple(span) for axis, span in self.travel_nm.items()})
        needs_length = self.z_point == ZPoint.GAUGE_LINE
        require(self, "z_length_nm", not needs_length or self.z_length_nm is not None, "z_length")
        _ = self.display
        _ = self.labels
        require(self, "parking_tool", int(self.probe_tool) != int(self.parking_tool), "other_tool")
        require(self, "parked_z_nm", self._can_be_parked(), "parked")
        require(self, "more_fixtures", self.fixture not in self.more_fixtures, "more_fixtures")

    @property
    def fixtures(self) -> tuple[str, ...]:
        """Return the ids of all fixtures that are bolted to it, in the order in which they are offered."""
        return (self.fixture, *self.more_fixtures)

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
        shown = value % self.display.resolution_nm == 0
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


@dataclass(frozen=True)
class FixtureFace:
    """A face to touch: which one it is, and where it looks (`normal` +1 or -1 along `axis`, away from the
    jaw).

    `depth_nm` is how deep below the jaw's top the lead wants the ball's centre beside this face, None: as
    usual.
    """

    axis: AxisLetter
    normal: Sign
    face: FaceName
    depth_nm: Positive | None = None

    def __post_init__(self) -> None:
        check_fields(self)
        require(self, "face", (self.face == "top") == (self.axis == "Z"), "face_of_axis")
        require(self, "normal", self.axis != "Z" or self.normal == 1, "normal_of_top")
        require(self, "depth_nm", self.depth_nm is None or self.face != "top", "depth_of_side")

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

    id: ShortId
    name: ItemName
    jaw_length_nm: Positive
    jaw_thickness_nm: Positive
    jaw_height_nm: Positive
    opening_nm: Positive
    edge_break_nm: Count
    clamping_axis: ClampingAxis
    clamping_direction: Sign
    faces: tuple[FixtureFace, ...]
    u_seat_nm: Count = SHIPPED_U_SEAT_NM
    expanding_length_nm: Count = SHIPPED_EXPANDING_LENGTH_NM
    square_apart_nm: Count = 0
    sides_first: Truth = False
    self_centring: NotSelfCentring = False
    parallels_nm: Heights = ()
    jaw_steps_nm: Heights = ()
    moving_jaw_thickness_nm: Positive | None = None
    stops_above_jaw_nm: Count = 0

    def __post_init__(self) -> None:
        check_fields(self)
        require(self, "faces", isinstance(self.faces, tuple | list), "faces")
        object.__setattr__(self, "faces", tuple(map(_face, self.faces)))
        keep_as_tuple(self, "parallels_nm", "jaw_steps_nm")
        axes = [face.axis for face in self.faces]
        require(self, "faces", bool(axes) and len(set(axes)) == len(axes), "faces")
        require(self, "faces", all(map(self._fits, self.faces)), "face_of_vise")
        require(self, "square_apart_nm", self._can_be_squared(), "square_apart")

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

    id: ShortId
    name: ItemName
    ball_diameter_nm: Positive
    effective_radius_nm: Count
    radius_uncertainty_nm: Count
    stylus_reach_nm: Positive
    overtravel_side_nm: Positive
    overtravel_up_nm: Positive
    u_probe_nm: Count = SHIPPED_U_PROBE_NM
    gauge_length_nm: Count = 0
    serial: Serial = ""

    def __post_init__(self) -> None:
        check_fields(self)


@dataclass(frozen=True)
class Seating:
    """The stretch of time in which the fixture stays where it is bolted."""

    id: str
    since_utc: str


def _face(value: Any) -> FixtureFace:
    return value if isinstance(value, FixtureFace) else from_plain(FixtureFace, value)
