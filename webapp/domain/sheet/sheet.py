"""The setup sheet: all that a tablet needs for one setup at one machine, as one text with one name.

Rules of this module:
- The sheet is canonical JSON, named by the SHA-256 of its bytes. The same inputs give the same sheet.
- It belongs to no person: the tablet finds the operator's own slot in the copy of the register that it
  carries.
- Its touches are planned in `webapp.domain.sheet.axis_plans`, on nothing else than what is given.
- Its steps and their words are those of this machine and fixture (`webapp.domain.sheet.steps_here`).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from typing import Literal

from webapp.domain.evidence.written_sheet import (
    AxisOnSheet,
    BoardOnSheet,
    MachineOnSheet,
    PersonOnSheet,
    ProfileOnSheet,
    RedoOnSheet,
    ShopOnSheet,
    SlotOnSheet,
    UsualOnSheet,
    WorryOnSheet,
    WrittenSheet,
)
from webapp.domain.plain.axes import Axis, search_direction
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.plain.zones import offsets
from webapp.domain.probe.probe_health import CheckState
from webapp.domain.procedure.procedure import Revision
from webapp.domain.procedure.row_to_zero import ROW_TO_ZERO
from webapp.domain.procedure.shipped import NOTICE
from webapp.domain.sheet.axis_plans import AxisPlan, plan_square
from webapp.domain.sheet.early import early_stops_nm
from webapp.domain.sheet.steps_here import Here, procedure_here, row_to_zero
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.shop.measures import (
    ZReading,
)
from webapp.domain.shop.shop import Machine, Seating, ShopRules
from webapp.domain.shop.slots import SlotFamily, SlotRow, check_register
from webapp.domain.usual.usual import Usual

SHEET_DOMAIN: Literal["zerokeep/sheet/1"] = "zerokeep/sheet/1"
# Which rules a setup on this sheet is folded by; a sheet without it is of the first format. 2: a stop is the
# lead's, copied values are looked up in every row, the row of a broken off setup is set to zero again. 3: a
# hold, a worry and a question count until the signature, behind the review too.
SHEET_FORMAT = 3
MS_PER_MINUTE = 60_000


class SheetError(DomainError):
    """A sheet cannot be compiled."""


class SheetWithoutTouchError(SheetError):
    """The procedure has no stage for any axis that the fixture has a face on."""

    code = "sheet.no_touch"
    field_names = ("machine", "fixture")


class SheetOfAnotherError(SheetError):
    """The fixture or probe given is not the one that the machine names."""

    code = "sheet.other_part"
    field_names = ("machine", "part", "given", "expected")


@dataclass(frozen=True)
class SheetPerson:
    """Somebody who is authorised on the machine, until when (exclusive; None: until further notice).
    `beside`: with a lead beside them, not alone.
    """

    id: str
    name: str
    until_utc: str | None
    beside: bool = False


@dataclass(frozen=True)
class Waiting:
    """A finished setup that waits for its signer: whose, on which tablet, since when."""

    person_name: str
    tablet: str
    since_utc: str


@dataclass(frozen=True)
class Board:
    """How the machine was left: `left` is clear, worry, probe_in_spindle, in_use or unknown; since when, by
    whom, open questions and worries. `state` is the same in the words of tablets that know nothing of
    worries.
    """

    state: str
    since_utc: str | None
    by_name: str | None
    open_questions: int
    worries: tuple[WorryOnSheet, ...] = ()
    left: str | None = None
    redo: tuple[RedoOnSheet, ...] = ()
    unsigned: tuple[Waiting, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A compiled sheet: its canonical text and the SHA-256 of it in lower-case hex."""

    hash: str
    text: str


def compile_sheet(
    *,
    fitted: FittedMachine,
    seating: Seating,
    probe_check: CheckState | None = None,
    probe_checked_at_utc: str | None = None,
    z_reading: ZReading | None = None,
    beside: Sequence[tuple[str, str]] = (),
    people: Sequence[SheetPerson],
    leads: Sequence[SheetPerson] = (),
    practised: Collection[str] = (),
    slots: Sequence[SlotRow],
    board: Board,
    axes: Sequence[AxisPlan],
    revision: Revision,
    compiled_at_utc: str,
    expires_at_utc: str,
) -> Sheet:
    """Return the sheet of these inputs; `practised`: ids of people who are asked less at this fixture,
    `beside`: id and name of every fixture on the machine, this one too, where there are several.

    Raises a `SheetError` or, for a register that cannot be, a `SlotError`.
    """
    rules, machine, fixture, probe = fitted
    for part, given, there in (
        ("fixture", fixture.id, machine.fixtures),
        ("probe", probe.id, (machine.probe,)),
    ):
        if given not in there:
            raise SheetOfAnotherError(machine=machine.id, part=part, given=given, expected=", ".join(there))
    staged = {stage.id for stage in revision.procedure.stages}
    touched = [plan for plan in axes if plan.face.axis.lower() in staged]
    if not touched:
        raise SheetWithoutTouchError(machine=machine.name, fixture=fixture.name)
    square = plan_square(machine, fixture, probe)
    register = check_register(SlotFamily(machine.labels), slots)
    here = Here(fitted, [plan.face for plan in touched])
    value: WrittenSheet = {
        "domain": SHEET_DOMAIN,
        "format": SHEET_FORMAT,
        "compiled_at_utc": compiled_at_utc,
        "expires_at_utc": expires_at_utc,
        "shop": _shop(rules, compiled_at_utc),
        "machine": _machine(machine, z_reading, beside),
        "fixture": {
            "id": fixture.id,
            "name": fixture.name,
            "seating": {"id": seating.id, "since_utc": seating.since_utc},
        },
        "probe": {
            "id": probe.id,
            "name": probe.name,
            "ball_diameter_nm": probe.ball_diameter_nm,
            "stylus_reach_nm": probe.stylus_reach_nm,
            "check": None if probe_check is None else probe_check.as_plain(),
            "checked_at_utc": probe_checked_at_utc,
            "serial": probe.serial,
        },
        "people": [_person(one, rules, practised) for one in people],
        "leads": [{"id": one.id, "name": one.name} for one in leads],
        "slots": [_slot(label, register[label]) for label in machine.labels if label in register],
        "board": _board(board),
        "axes": [_axis(plan) for plan in touched],
        "square": square,
        "row_to_zero": row_to_zero(ROW_TO_ZERO, here) if SHEET_FORMAT > 1 else None,
        "procedure": procedure_here(revision, here),
    }
    text = canonical_text(value)
    return Sheet(sha256(text.encode("utf-8")).hexdigest(), text)


def _shop(rules: ShopRules, compiled_at_utc: str) -> ShopOnSheet:
    return {
        "name": rules.name,
        "lead": rules.lead,
        "notice": NOTICE,
        "time_zone": rules.time_zone,
        "shift_hours": rules.shift_hours,
        "offsets": offsets(rules.time_zone, compiled_at_utc) if compiled_at_utc else [],
    }


def _machine(
    machine: Machine, z_reading: ZReading | None, beside: Sequence[tuple[str, str]]
) -> MachineOnSheet:
    """Return the machine; a sheet of one with a single fixture is what it always was."""
    told: MachineOnSheet = {
        "id": machine.id,
        "name": machine.name,
        "unit": machine.unit,
        "decimals": machine.decimals,
        "travel_nm": {axis: list(span) for axis, span in machine.travel_nm.items()},
        "confirm_limit_nm": machine.confirm_limit_nm,
        "slot_family": list(machine.labels),
        "probe_tool": machine.probe_tool,
        "parking_tool": machine.parking_tool,
        "z_point": None if z_reading is None else z_reading.point.value,
        "input_age_ms": machine.input_age_minutes * MS_PER_MINUTE,
        "profile": _profile(machine),
        "serial": machine.serial,
        "parked_nm": machine.parked_nm,
    }
    if len(beside) > 1:
        told["fixtures"] = [{"id": id_, "name": name} for id_, name in beside]
    return told


def _profile(machine: Machine) -> ProfileOnSheet:
    """Return what the tablet has to know of how the machine is worked at, besides what the steps say."""
    return {
        "door": machine.door,
        "changer": machine.changer,
        "slot_written": machine.slot_written,
        "probing_stop": machine.probing_stop,
        "reset_drops": list(machine.reset_drops),
        "estop_loses_home": machine.estop_loses_home,
        "hand_wheel": machine.hand_wheel,
        "z_zero_at_top": machine.z_zero_at_top,
        "probe_length_repeats": machine.probe_length_repeats,
        "fixed_search_nm": machine.fixed_search_nm,
        "feeds_typed": machine.feeds_typed,
    }


def _board(board: Board) -> BoardOnSheet:
    return {
        "state": board.state,
        "since_utc": board.since_utc,
        "by_name": board.by_name,
        "open_questions": board.open_questions,
        "left": board.left or board.state,
        "worries": list(board.worries),
        "redo": list(board.redo),
        "unsigned": [
            {"person_name": one.person_name, "tablet": one.tablet, "since_utc": one.since_utc}
            for one in board.unsigned
        ],
    }


def _person(one: SheetPerson, rules: ShopRules, practised: Collection[str]) -> PersonOnSheet:
    """A person as the sheet has them; who works with a lead beside them reads everything each time."""
    alone = not one.beside
    told: PersonOnSheet = {
        "id": one.id,
        "name": one.name,
        "until_utc": one.until_utc,
        "once_a_shift": alone and one.id in rules.cautions_once_a_shift,
        "practised": alone and one.id in practised,
    }
    return told if alone else {**told, "beside": True}


def _slot(label: str, row: SlotRow) -> SlotOnSheet:
    last = row.last_values_nm
    told: SlotOnSheet = {
        "label": label,
        "kind": row.kind,
        "owner_id": row.owner_id,
        "owner_name": row.owner_name,
        "until_utc": _utc_text(row.until_utc),
        "held_back": row.held_back,
        "last_values_nm": None if last is None else {axis.value: last[axis] for axis in Axis if axis in last},
        "last_seen_at_utc": _utc_text(row.last_seen_at_utc),
        "missing_axes": list(row.missing_axes),
        "not_usable_axes": list(row.not_usable_axes),
    }
    if row.last_fixture_name is not None:
        told["last_fixture_name"] = row.last_fixture_name
    return told


def _utc_text(at_utc: datetime | None) -> str | None:
    """Return the time as messages write it: UTC, milliseconds, Z."""
    if at_utc is None:
        return None
    return at_utc.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def usual_on_sheet(found: Usual) -> UsualOnSheet:
    """Return centre, lines and what they stand on as a sheet says them, without early stops."""
    return {
        "centre_nm": found.centre_nm,
        "ask_nm": found.ask_nm,
        "stop_nm": found.stop_nm,
        "values": found.n_values,
        "seatings": found.n_seatings,
        "reasons": list(found.reasons),
    }


def _axis(plan: AxisPlan) -> AxisOnSheet:
    direction = search_direction(plan.face.direction)
    error = plan.approach_error
    return {
        "axis": plan.face.axis,
        "normal": plan.face.normal,
        "search": direction.sense,
        "search_label": direction.label,
        "face": plan.face.face,
        "approach": plan.approach,
        "approach_error": None if error is None else {"code": error.code, "fields": error.fields},
        "usual": {
            **usual_on_sheet(plan.usual),
            "early_stops_nm": early_stops_nm(plan.usual, plan.causes),
        },
        "causes": plan.causes,
        "drawing": plan.drawing,
        "by_hand_nm": plan.by_hand_nm,
    }
