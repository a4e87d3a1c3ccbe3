"""An invented shop for the tests of the rules:
two mills, three people, a register with every kind of slot.
"""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from datetime import UTC, datetime
from typing import Any

from webapp.domain.causes.of_sheet import measures_of, sheet_causes
from webapp.domain.evidence.written_sheet import WorryOnSheet
from webapp.domain.plain.axes import Axis
from webapp.domain.plain.levels import ALONE, BESIDE
from webapp.domain.procedure import editing
from webapp.domain.procedure.company import LEAD, SECOND
from webapp.domain.procedure.procedure import Procedure, Revision, publish
from webapp.domain.procedure.row_to_zero import ROW_TO_ZERO
from webapp.domain.procedure.shipped import SHIPPED
from webapp.domain.sheet.axis_plans import plan_axes
from webapp.domain.sheet.lines_here import floor_inputs, lines_choice
from webapp.domain.sheet.sheet import Board, Sheet, SheetPerson, compile_sheet
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.shop.measures import ZPoint, ZReading
from webapp.domain.shop.shop import Fixture, FixtureFace, Machine, Probe, Seating, ShopRules
from webapp.domain.shop.slots import SlotRow
from webapp.domain.usual.usual import SeatingValues, Usual, usual

COMPILED = "2026-11-25T07:00:00.000Z"
EXPIRES = "2026-11-25T19:00:00.000Z"

RULES = ShopRules(
    name="Kettle Lane Workshop",
    lead="Ines Varga, ext. 12",
    stop_one_in=1000,
    cautions_once_a_shift=("mara",),
)
VISE = Fixture(
    id="vise-a",
    name="Vise A",
    jaw_length_nm=150_000_000,
    jaw_thickness_nm=25_000_000,
    jaw_height_nm=50_000_000,
    opening_nm=90_000_000,
    edge_break_nm=500_000,
    clamping_axis="Y",
    clamping_direction=-1,
    faces=(FixtureFace("X", -1, "left_end"), FixtureFace("Y", -1, "front"), FixtureFace("Z", 1, "top")),
    u_seat_nm=4_000,
    expanding_length_nm=400_000_000,
    sides_first=True,
)
PROBE = Probe(
    id="probe-1",
    name="Probe 1",
    ball_diameter_nm=6_000_000,
    effective_radius_nm=2_996_000,
    radius_uncertainty_nm=1_000,
    stylus_reach_nm=50_000_000,
    overtravel_side_nm=12_000_000,
    overtravel_up_nm=6_000_000,
    u_probe_nm=1_500,
)
MILL_MM = Machine(
    id="mill-1",
    name="Plover",
    unit="mm",
    decimals=3,
    travel_nm={"X": (-762_000_000, 0), "Y": (-406_000_000, 0), "Z": (-508_000_000, 0)},
    confirm_limit_nm=2_540_000,
    slot_family="G54-G59, G59.1-G59.3",
    probe_tool="30",
    parking_tool="1",
    first_feed_mm_per_min=900.0,
    fine_feed_mm_per_min=60.0,
    deceleration_mm_per_s2=900.0,
    latency_s=0.004,
    u_axis_nm={"X": 2_000, "Y": 2_000, "Z": 2_500},
    fixture="vise-a",
    probe="probe-1",
)
MILL_INCH = Machine(
    **{
        **vars(MILL_MM),
        "id": "mill-2",
        "name": "Dunlin",
        "unit": "in",
        "decimals": 4,
        "confirm_limit_nm": None,
    }
)
BY_HAND_MILL = replace(MILL_MM, slot_written="by_hand")
PARKED_MILL = replace(MILL_MM, z_zero_at_top=False, parked_z_nm=-50_000_000)
MACHINES = {"mm": MILL_MM, "inch": MILL_INCH}
# Where the vise sits, and what five setups of this seating and four of the one before brought, in steps of 1
# um.
CENTRES_NM = {"X": -381_250_000, "Y": -152_400_000, "Z": -300_050_000}
SCATTER_UM = ((3, -4, 0, 6, -5), (-7, 2, 4, -1))
LAST_SEEN = datetime(2026, 11, 24, 16, 20, tzinfo=UTC)
SLOTS = (
    SlotRow(
        "G54",
        "person",
        "mara",
        "Mara Okafor",
        datetime(2027, 6, 30, tzinfo=UTC),
        {Axis.X: -381_248_000, Axis.Y: -152_401_000, Axis.Z: -300_050_000},
        LAST_SEEN,
    ),
    SlotRow(
        "G55",
        "person",
        "ivo",
        "Ivo Brandt",
        datetime(2027, 6, 30, tzinfo=UTC),
        {Axis.X: -300_000_000, Axis.Y: -100_000_000, Axis.Z: -250_000_000},
        LAST_SEEN,
    ),
    SlotRow("G56", "shop"),
    SlotRow("G57", "free"),
    SlotRow("G58", "person", "mara", "Mara Okafor", datetime(2026, 11, 1, tzinfo=UTC)),
    SlotRow("G59", "person", "mara", "Mara Okafor", None),
    SlotRow("G59.1", "person", "ivo", "Ivo Brandt", None, held_back=True),
)
PEOPLE = (
    SheetPerson("mara", "Mara Okafor", "2027-01-31T00:00:00.000Z"),
    SheetPerson("ivo", "Ivo Brandt", None),
    SheetPerson("lena", "Lena Moss", "2026-11-25T08:00:00.000Z"),
)

# As a sheet carries it; its words matter to no rule.
ZERO_STEP = json.loads(
    json.dumps(
        {
            name: part
            for name, part in asdict(ROW_TO_ZERO).items()
            if name not in {"when", "variants"} and (part or name not in {"level", "there", "picture"})
        }
    )
)
# Ivo sets up with a lead beside, and the procedure differs for him.
BESIDE_PEOPLE = tuple(replace(one, beside=one.id == "ivo") for one in PEOPLE)


def procedure_of_levels() -> Procedure:
    """The shipped procedure with a caution and a step on top for whom a lead is beside, a step for whom sets
    up alone, a lead there at two steps and anybody else at one.
    """
    probe = editing.step_of(SHIPPED, "ready.probe")
    bring = editing.step_of(SHIPPED, "vise.bring")
    assert probe.caution
    learn = replace(
        probe, id="ready.learn", level=BESIDE, once_a_shift=False, caution=replace(probe.caution, id="learn")
    )
    added = {
        "ready.probe": [learn],
        "vise.bring": [
            replace(bring, id="vise.tell", level=BESIDE),
            replace(bring, id="vise.note", level=ALONE),
        ],
    }
    there = {"vise.bare": LEAD, "vise.tell": LEAD, "x.search": SECOND, "z.touch": SECOND}
    stages = []
    for stage in SHIPPED.stages:
        steps = [it for step in stage.steps for it in (step, *added.get(step.id, []))]
        told = tuple(replace(step, there=there.get(step.id, "")) for step in steps)
        stages.append(replace(stage, steps=told))
    return replace(SHIPPED, stages=tuple(stages))


LEADS = (SheetPerson("ines", "Ines Varga", None), SheetPerson("mara", "Mara Okafor", None))


def usual_of(machine: Machine, axis: str, *, known: bool = True) -> Usual:
    """The usual of one axis from the invented history, on the machine's display."""
    display, centre = machine.display, CENTRES_NM[axis]
    history = [
        SeatingValues.of(f"seating-{place}", [centre + step * 1_000 for step in steps])
        for place, steps in enumerate(reversed(SCATTER_UM))
    ]
    if not known:
        history = [*history, SeatingValues("seating-new")]
    choice = lines_choice(RULES, axis, machine.unit)
    return usual(history, floor_inputs(FittedMachine(RULES, machine, VISE, PROBE), axis), choice, display)


def causes_of(
    machine: Machine, usuals: dict[str, Usual], *, fixture: Fixture = VISE, probe: Probe = PROBE
) -> dict[str, dict[str, Any]]:
    """What causes are named from on a mill of this shop."""
    choices = {axis: lines_choice(RULES, axis, machine.unit) for axis in usuals}
    return sheet_causes(machine, fixture, measures_of(fixture, probe), usuals, choices, slots=SLOTS)


WORRIES: tuple[WorryOnSheet, ...] = (
    {
        "event": "a" * 64,
        "worry": "fell",
        "about": "probe",
        "blocks": True,
        "text": "On the floor.",
        "at_utc": "2026-11-24T16:20:00.000Z",
        "by_name": "Ivo Brandt",
        "thing_name": PROBE.name,
        "machine_name": "Plover",
    },
    {
        "event": "b" * 64,
        "worry": "other",
        "about": "machine",
        "blocks": False,
        "text": "A leak.",
        "at_utc": "2026-11-24T16:10:00.000Z",
        "by_name": "Ivo Brandt",
        "thing_name": "Plover",
        "machine_name": "Plover",
    },
)


def example_sheet(
    name: str = "mm",
    *,
    known: bool = True,
    fixture: Fixture = VISE,
    probe: Probe = PROBE,
    revision: Revision | None = None,
    z_reading: ZReading | None = None,
    **changes: Any,
) -> Sheet:
    """The compiled sheet of one of the two mills; `known` False starts a seating without values."""
    machine = MACHINES[name]
    usuals = {axis: usual_of(machine, axis, known=known) for axis in ("X", "Y", "Z")}
    inputs = {
        "rules": RULES,
        "machine": machine,
        "fixture": fixture,
        "seating": Seating("seating-1", "2026-11-02T09:00:00.000Z"),
        "probe": probe,
        "people": PEOPLE,
        "leads": LEADS,
        "slots": SLOTS,
        "board": Board("clear", "2026-11-24T16:21:00.000Z", "Ivo Brandt", 0),
        "axes": plan_axes(
            FittedMachine(RULES, changes.get("machine", machine), fixture, probe),
            usuals,
            causes_of(machine, usuals, fixture=fixture, probe=probe),
            z_reading,
        ),
        "revision": revision or publish(SHIPPED),
        "compiled_at_utc": COMPILED,
        "expires_at_utc": EXPIRES,
    }
    inputs |= changes
    fitted = FittedMachine(*(inputs.pop(name) for name in ("rules", "machine", "fixture", "probe")))
    return compile_sheet(fitted=fitted, **inputs)


def sheet_value(name: str) -> dict[str, Any]:
    """The sheet as the fold takes it: "mm", "inch", "no_usual", "square" with its look, "x_only" with one
    face, "levels" where Ivo has a lead beside and steps differ by that, "practised" where Mara is, "parked"
    where a cleared row holds −50 mm in Z, or "worried" with an open worry that keeps its probe from use, and
    one that does not.

    Behind two lines: "unplanned" without the look that its procedure has, "twin_rows" with one row like
    another, "parked_rows" with two rows cleared, "parked_before" with two that were parked at an earlier
    value, "first_format" as sheets once were, "third_format" as they are since a note counts till signed.
    """
    sheets = {
        "mm": lambda: example_sheet("mm"),
        "inch": lambda: example_sheet("inch"),
        "no_usual": lambda: example_sheet("mm", known=False),
        "square": lambda: example_sheet("mm", fixture=replace(VISE, square_apart_nm=100_000_000)),
        "by_hand": lambda: example_sheet(
            "mm", machine=BY_HAND_MILL, z_reading=ZReading(ZPoint.BALL_CENTRE, 168_200_000)
        ),
        "parked": lambda: example_sheet("mm", machine=PARKED_MILL),
        "practised": lambda: example_sheet("mm", practised=("mara",)),
        "worried": lambda: example_sheet(
            "mm", board=Board("unknown", None, "Ivo Brandt", 0, WORRIES, left="worry")
        ),
        "levels": lambda: example_sheet("mm", people=BESIDE_PEOPLE, revision=publish(procedure_of_levels())),
        "x_only": lambda: example_sheet("mm", fixture=replace(VISE, faces=VISE.faces[:1])),
    }
    base, _, special = name.partition("__")
    value: dict[str, Any] = json.loads(sheets[base]().text)
    value |= {"format": 2, "row_to_zero": ZERO_STEP}
    if special == "unplanned":
        return value | {"square": None}
    if special == "twin_rows":
        rows = [row | {"last_values_nm": value["slots"][0]["last_values_nm"]} for row in value["slots"][:2]]
        return value | {"slots": [*rows, *value["slots"][2:]]}
    if special in {"parked_rows", "parked_before"}:
        last = value["machine"]["parked_nm"] | ({"Z": -40_000_000} if special == "parked_before" else {})
        rows = [row | {"last_values_nm": last} for row in value["slots"][1:3]]
        return value | {"slots": [value["slots"][0], *rows, *value["slots"][3:]]}
    if special == "third_format":
        return value | {"format": 3}
    if special == "first_format":
        later = {"format", "row_to_zero", "leads"}
        return {part: what for part, what in value.items() if part not in later}
    return value
