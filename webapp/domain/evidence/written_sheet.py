"""The setup sheet as it is written: every name that stands in its JSON text, with the type of what it holds.

Rules of this module:
- Names here are names on the wire;
  `webapp.domain.sheet` writes them, the fold, the record and the tablet read them.
- What a sheet has got since the first ones is `NotRequired`: a sheet of any earlier program is still one of
  these, and whoever reads such a field says what its lack means.
"""

from __future__ import annotations

from typing import Literal, NotRequired, TypedDict

from webapp.domain.plain.errors import Fields
from webapp.domain.plain.zones import TimeOffset


class Said(TypedDict):
    """A sentence of the catalogue and what goes into it."""

    code: str
    fields: Fields


class ShopOnSheet(TypedDict):
    """The shop: whom to call, what the sheet does not replace, its own time."""

    name: str
    lead: str
    notice: str
    time_zone: NotRequired[str]
    shift_hours: NotRequired[int]
    offsets: NotRequired[list[TimeOffset]]


class ProfileOnSheet(TypedDict):
    """How the machine is worked at, as far as the tablet has to know (`webapp.domain.procedure.profile`)."""

    door: str
    changer: str
    slot_written: str
    probing_stop: str
    reset_drops: list[str]
    estop_loses_home: bool
    hand_wheel: bool
    z_zero_at_top: bool
    probe_length_repeats: bool
    fixed_search_nm: int | None
    feeds_typed: bool


class FixtureNamed(TypedDict):
    """One of the fixtures on a machine."""

    id: str
    name: str


class MachineOnSheet(TypedDict):
    """The machine: its display, its travels in machine coordinates, its slots and two tools.

    `fixtures` are all that are bolted to it, in the order in which they are offered; without it, the sheet's
    own alone. `z_point` is what its machine page reads on Z with the probe loaded
    (`webapp.domain.shop.measures.ZPoint`), None: not checked yet. `parked_nm` is what each axis of a cleared
    row holds; without it, zero.
    """

    id: str
    name: str
    unit: str
    decimals: int
    travel_nm: dict[str, list[int]]
    confirm_limit_nm: int | None
    slot_family: list[str]
    probe_tool: str
    parking_tool: str
    z_point: NotRequired[str | None]
    input_age_ms: NotRequired[int]
    profile: NotRequired[ProfileOnSheet]
    serial: NotRequired[str]
    parked_nm: NotRequired[dict[str, int]]
    fixtures: NotRequired[list[FixtureNamed]]


class SeatingOnSheet(TypedDict):
    """The stretch of time in which the fixture stays where it is bolted."""

    id: str
    since_utc: str


class FixtureOnSheet(TypedDict):
    """The fixture and how it sits."""

    id: str
    name: str
    seating: SeatingOnSheet


class ProbeCheckOnSheet(TypedDict):
    """When the probe's check is due (exclusive; None: never checked) and whether it was overdue already."""

    due_at_utc: str | None
    overdue: bool


class ProbeOnSheet(TypedDict):
    """The probe. `check` is None while nobody asked for checks, `checked_at_utc` is when the last one was."""

    id: str
    name: str
    ball_diameter_nm: int
    stylus_reach_nm: int
    check: NotRequired[ProbeCheckOnSheet | None]
    checked_at_utc: NotRequired[str | None]
    serial: NotRequired[str]


class PersonOnSheet(TypedDict):
    """Somebody who is authorised on the machine, until when (exclusive; None: until further notice).

    `practised`: the lead counts this person as such, and a value of theirs counts in this fixture's seating.
    """

    id: str
    name: str
    until_utc: str | None
    once_a_shift: NotRequired[bool]
    practised: NotRequired[bool]
    # With a lead beside them; without it: alone.
    beside: NotRequired[bool]


class LeadOnSheet(TypedDict):
    """Somebody who may lift a stop at the tablet."""

    id: str
    name: str


class SlotOnSheet(TypedDict):
    """A row of the register. The last setup in it left `missing_axes` without a value,
    `not_usable_axes` by a stop. `last_fixture_name`: where its values were touched, on a machine with several
    fixtures.
    """

    label: str
    kind: Literal["person", "shop", "free"]
    owner_id: str | None
    owner_name: str | None
    until_utc: str | None
    held_back: bool
    last_values_nm: dict[str, int] | None
    last_seen_at_utc: str | None
    missing_axes: NotRequired[list[str]]
    not_usable_axes: NotRequired[list[str]]
    last_fixture_name: NotRequired[str]


class UnsignedOnSheet(TypedDict):
    """A finished setup that waits for its signer, and the tablet that it waits on."""

    person_name: str
    tablet: str
    since_utc: str


class WorryOnSheet(TypedDict):
    """An open worry about the machine, its vise or its probe,
    and whether that is kept from use until it is closed.
    """

    event: str
    worry: str
    about: str
    blocks: bool
    text: str
    at_utc: str
    by_name: str
    thing_name: str
    machine_name: str


class RedoOnSheet(TypedDict):
    """A slot that a lead wants set again:
    whose setup it was, why, about which axis (None: all), in which words.
    """

    label: str
    person: str
    why: str
    axis: str | None
    reason: str
    by_name: str
    at_utc: str


class BoardOnSheet(TypedDict):
    """How the machine was left. `state` says it in the words of tablets that know nothing of worries."""

    state: str
    since_utc: str | None
    by_name: str | None
    open_questions: int
    left: NotRequired[str]
    worries: NotRequired[list[WorryOnSheet]]
    redo: NotRequired[list[RedoOnSheet]]
    unsigned: NotRequired[list[UnsignedOnSheet]]


class BandOnSheet(TypedDict):
    """Where one axis may stand; see `webapp.domain.touch.place.Band`."""

    low_nm: int | None
    high_nm: int | None
    from_surface_low_nm: int
    from_surface_high_nm: int


class ApproachOnSheet(TypedDict):
    """The plan of one touch; what each measure is stands with `webapp.domain.touch.approach.Approach`."""

    axis: str
    normal: int
    direction_label: str
    direction_code: str
    first_feed_mm_per_min: float
    first_feed_text: str
    first_feed_lowered: bool
    largest_first_feed_mm_per_min: float
    largest_first_feed_text: str
    fine_feed_mm_per_min: float
    fine_feed_text: str
    stopping_distance_nm: int
    margin_nm: NotRequired[int]
    gap_low_nm: int
    gap_high_nm: int
    range_nm: int
    range_is_fixed: NotRequired[bool]
    overrun_nm: NotRequired[int]
    overtravel_nm: NotRequired[int]
    dead_probe: NotRequired[str]
    stand_low_nm: int | None
    stand_high_nm: int | None
    stand_above_ball_nm: NotRequired[int | None]
    search_end_nm: int | None
    depth_low_nm: int | None
    depth_high_nm: int | None
    depth_nm: NotRequired[int | None]
    edge_distance_nm: int
    place: NotRequired[dict[str, BandOnSheet | None]]
    clear_z_nm: NotRequired[int | None]
    clear_above_surface_nm: NotRequired[int | None]
    notes: NotRequired[list[Said]]


class UsualOnSheet(TypedDict):
    """The usual of one axis: its centre and both lines (None: not known yet), and what they stand on.

    `early_stops_nm` are ranges that a radius, an opening or a length explains:
    a value there is a stop however near the usual. Only a fixture with few setups has them.
    """

    centre_nm: int | None
    ask_nm: int | None
    stop_nm: int | None
    values: int
    seatings: int
    reasons: list[str]
    early_stops_nm: NotRequired[list[list[int]]]


class BesideOnSheet(TypedDict):
    """What an earlier axis must read for a cause to be named."""

    axis: str
    value_nm: int
    uncertainty_nm: int


class CandidateOnSheet(TypedDict):
    """A mistake and what it would have given; see `webapp.domain.causes.facts.Candidate`."""

    code: str
    fields: Fields
    low_nm: int
    high_nm: int
    uncertainty_nm: int
    alone: bool
    beside: list[BesideOnSheet]


class CausesOnSheet(TypedDict):
    """What odd values of one axis are compared with. `chance_nm` is None where there is no usual yet."""

    chance_nm: int | None
    uncertainty_nm: int
    candidates: list[CandidateOnSheet]


class ShapeOnSheet(TypedDict, total=False):
    """One mark of a drawing; which numbers it has follows from its `kind`."""

    kind: str
    role: str
    x: float
    y: float
    width: float
    height: float
    cx: float
    cy: float
    r: float
    x1: float
    y1: float
    x2: float
    y2: float
    d: str
    anchor: str
    size: float
    text: str
    code: str
    fields: Fields


class NarrowDrawing(TypedDict):
    """The same touch for a narrow screen, or for a low one."""

    width: int
    height: int
    shapes: list[ShapeOnSheet]


class Drawing(TypedDict):
    """A drawing of a touch."""

    view: str
    width: int
    height: int
    words: Said
    shapes: list[ShapeOnSheet]
    compact: NarrowDrawing
    small: NotRequired[NarrowDrawing]


class AxisOnSheet(TypedDict):
    """One touch: the face, the plan or why there is none, the usual, likely causes, the drawing.

    `by_hand_nm`: what is added to the trigger position that the control shows,
    to get the surface that a person enters; None where the control writes the slot.
    """

    axis: str
    normal: int
    search: int
    search_label: str
    face: str
    approach: ApproachOnSheet | None
    approach_error: Said | None
    usual: UsualOnSheet
    causes: NotRequired[CausesOnSheet]
    drawing: Drawing
    by_hand_nm: NotRequired[int | None]


class SquarePlan(TypedDict):
    """The look for square; see `webapp.domain.touch.square.square_plan`."""

    axis: str
    along: str
    apart_nm: int
    jaw_length_nm: int
    u_touch_nm: int
    u_error_nm: int
    told_nm: int


class SquareOnSheet(SquarePlan):
    """The same with its drawing."""

    drawing: Drawing


class CautionOnSheet(TypedDict):
    """What can hurt."""

    id: str
    signal: str
    hazard: str
    consequence: str
    avoidance: str


class ChoiceOnSheet(TypedDict):
    """An answer to a step."""

    id: str
    label: str
    closes: bool


class CheckOnSheet(TypedDict):
    """A line of a list that is ticked off."""

    id: str
    label: str


class PractisedWords(TypedDict):
    """What a step says to whom is practised at this fixture; it then asks nothing, and `done` closes it."""

    do: str
    look_for: str
    if_not: str
    action: str


class PictureOnSheet(TypedDict):
    """A picture that a step shows, by the hash of its file; the tablet fetches it once."""

    sha256: str
    width: int
    height: int
    shows: str


class StepOnSheet(TypedDict):
    """One action, with every word filled but {slot}."""

    id: str
    kind: str
    do: str
    look_for: str
    why: str
    if_not: str
    action: str
    machine_state: str
    axis: str | None
    caution: CautionOnSheet | None
    choices: list[ChoiceOnSheet]
    checks: NotRequired[list[CheckOnSheet]]
    hands: NotRequired[bool]
    once_a_shift: NotRequired[bool]
    practised: NotRequired[PractisedWords]
    # What a picture of this step shows; without it none is asked for.
    photo: NotRequired[str]
    # For whom alone it stands; without it: for everybody.
    level: NotRequired[Literal["alone", "beside"]]
    # Who is to stand beside for it, a lead or anybody else; without it: nobody.
    there: NotRequired[Literal["lead", "second"]]
    # A picture that it shows; without it none.
    picture: NotRequired[PictureOnSheet]


class StageOnSheet(TypedDict):
    """A long mark of the scale and its steps."""

    id: str
    short: str
    title: str
    steps: list[StepOnSheet]


class ProcedureOnSheet(TypedDict):
    """The shop's procedure as this setup walks it. `revision` is the hash of what was published."""

    id: str
    revision: str
    title: str
    stages: list[StageOnSheet]


class WrittenSheet(TypedDict):
    """A whole sheet."""

    domain: Literal["zerokeep/sheet/1"]
    compiled_at_utc: str
    expires_at_utc: str
    shop: ShopOnSheet
    machine: MachineOnSheet
    fixture: FixtureOnSheet
    probe: ProbeOnSheet
    people: list[PersonOnSheet]
    slots: list[SlotOnSheet]
    board: BoardOnSheet
    axes: list[AxisOnSheet]
    square: NotRequired[SquareOnSheet | None]
    procedure: ProcedureOnSheet
    # Sheets of then; a tablet has the server's key for PINs from its enrolment.
    pin_key: NotRequired[dict[str, str]]
    # Without it: the first format.
    format: NotRequired[int]
    leads: NotRequired[list[LeadOnSheet]]
    row_to_zero: NotRequired[StepOnSheet | None]
