"""The usual and the probe that a tablet's sheet had, beside those of the shop.

Rules:
- the usual changes with every sign-off, so it is told where that matters: where a value that was entered lies
  on another side of a line than it did. It is the usual of where the fixture sat when the setup was last
  heard of, as its values count now. One that had nothing to be compared with, and agrees now, is nobody's
  conflict;
- lines alone are compared: what else stops an early touch is the sheet's (domain/sheet/early.py);
- the probe is the one that the ledger says was on the machine when the setup was last heard of. A measure is
  told where the machine's display shows it otherwise;
- each fixture, machine and probe is read once, however many setups wait.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING

from webapp.domain.evidence.folded_setup import Folded, Touch
from webapp.domain.evidence.written_sheet import AxisOnSheet, ProbeOnSheet, UsualOnSheet, WrittenSheet
from webapp.domain.plain.errors import DomainError, Fields
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.sheet.sheet import usual_on_sheet
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import Probe
from webapp.domain.touch.compare import display_of, verdict_on
from webapp.domain.usual.usual import Usual, usual
from webapp.services.decisions.sides import Difference, Side
from webapp.services.evidence.ledger import said_by
from webapp.services.numbers.histories import seating_history, worked_out
from webapp.services.sheets.fitted_machines import AxisParts, parts_of_axes, place_of

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SetupRow

NONE, AGREES = "none", "agrees"
MOST_CHANGES = 50
Told = Mapping[str, object]


class MeasuredBy:
    """What the shop says of usual and probe, inside the caller's transaction."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._parts: dict[str, dict[str, AxisParts]] = {}
        self._usuals: dict[tuple[str, str, str], Usual | None] = {}
        self._values: dict[tuple[str, str], list[tuple[str, Told]]] = {}

    def usual(self, sheet: WrittenSheet, state: Folded, seating: str) -> Iterator[Difference]:
        """Where a value lies otherwise to the usual of now, of each axis the last such value."""
        display = display_of(sheet["machine"])
        for axis in sheet["axes"]:
            now = self._usual_now(sheet["fixture"]["id"], axis["axis"], seating)
            found = [] if now is None else _judged_otherwise(state, axis, now)
            if now is not None and found:
                then, touch = axis["usual"], found[-1]
                yield Difference(
                    "usual", _lines(then, touch, display), _lines(now, touch, display), axis["axis"]
                )

    def _usual_now(self, fixture: str, axis: str, seating: str) -> UsualOnSheet | None:
        """Its lines in the form that a sheet has them; None where the fixture is in use no more."""
        place = fixture, axis, seating
        if place not in self._usuals:
            self._usuals[place] = self._worked_out(*place)
        found = self._usuals[place]
        return None if found is None else usual_on_sheet(found)

    def _worked_out(self, fixture: str, axis: str, seating: str) -> Usual | None:
        parts = self._parts_of(fixture).get(axis)
        history = seating_history(self._store, fixture, axis) if parts else ()
        ids = [one.seating_id for one in history]
        if parts is None or seating not in ids:
            return None
        known, inputs = history[: ids.index(seating) + 1], (parts.floor, parts.choice, parts.machine.display)
        named = inputs if known == history else (*inputs, seating)
        return worked_out(self._store, (fixture, axis), history, named, lambda: usual(known, *inputs))

    def _parts_of(self, fixture: str) -> dict[str, AxisParts]:
        if fixture not in self._parts:
            try:
                place = place_of(self._store, fixture)
                found = parts_of_axes(self._store, place) if place else ()
            except DomainError:  # nothing is compared with what has no whole machine
                found = ()
            self._parts[fixture] = {one.face.axis: one for one in found}
        return self._parts[fixture]

    def probe(self, row: SetupRow, sheet: WrittenSheet) -> Iterator[Difference]:
        """Where another probe was on the machine, or this one was told to be otherwise."""
        then, at_utc = sheet["probe"], row["last_at_utc"]
        machine = self._told("machine", row["machine"], at_utc)
        now = self._probe_at(str((machine or {}).get("probe")), at_utc)
        if now is None:
            return
        if now.id != then["id"] or then.get("serial", now.serial) != now.serial:
            yield Difference(
                "probe", _named(then["name"], then.get("serial", "")), _named(now.name, now.serial)
            )
        display = display_of(sheet["machine"])
        for about, had_nm, has_nm in _measures(sheet, then, now):
            had, has = (_measure(one, display) for one in (had_nm, has_nm))
            if had != has:
                yield Difference(about, had, has)

    def _probe_at(self, probe: str, at_utc: str) -> Probe | None:
        told = self._told("probe", probe, at_utc)
        with suppress(DomainError):  # an entry of long ago that is no probe as they are now says nothing
            return from_plain(Probe, {**told, "id": probe}) if told else None
        return None

    def _told(self, kind: str, subject: str, at_utc: str) -> Told | None:
        """What the ledger says that a thing of the shop was at a time; None where it does not say."""
        place = kind, subject
        if place not in self._values:
            kinds = f"{kind}.added", f"{kind}.changed"
            rows = self._store.ledger.changes_about(subject, kinds, MOST_CHANGES)
            told = ((row["at_utc"], said_by(row["text"]).get("value")) for row in rows)
            self._values[place] = [(when, value) for when, value in told if isinstance(value, dict)]
        return next((value for when, value in self._values[place] if when <= at_utc), None)


def _judged_otherwise(state: Folded, axis: AxisOnSheet, now: UsualOnSheet) -> list[Touch]:
    found = []
    for touch in state["touches"]:
        if touch["axis"] == axis["axis"]:
            before, after = _judged(touch, axis["usual"]), _judged(touch, now)
            if after not in {before, AGREES if before == NONE else before}:
                found.append(touch)
    return found


def _judged(touch: Touch, lines: UsualOnSheet) -> str:
    """How a value lies to the lines alone; `none` without any."""
    verdict, difference_nm = verdict_on(touch["value_nm"], {**lines, "early_stops_nm": []})
    return NONE if difference_nm is None else verdict


def _lines(lines: UsualOnSheet, touch: Touch, display: Display) -> Side:
    centre_nm, ask_nm, stop_nm = lines["centre_nm"], lines["ask_nm"], lines["stop_nm"]
    if centre_nm is None or ask_nm is None or stop_nm is None:
        return Side("meanwhile.usual_none")
    fields: Fields = {
        "unit": str(display.unit),
        "value": format_length(touch["value_nm"], display),
        "centre": format_length(centre_nm, display),
        "ask": format_length(ask_nm, display, sign=False),
        "stop": format_length(stop_nm, display, sign=False),
    }
    return Side(f"meanwhile.usual_{_judged(touch, lines)}", fields)


def _named(name: str, serial: str) -> Side:
    if not serial:
        return Side("meanwhile.probe", {"name": name})
    return Side("meanwhile.probe_with_serial", {"name": name, "serial": serial})


def _measures(sheet: WrittenSheet, then: ProbeOnSheet, now: Probe) -> Iterator[tuple[str, int, int]]:
    """What a touch is planned with and worked out from, as far as the sheet has it: what it is, in nm then
    and now.
    """
    yield "probe_ball", then["ball_diameter_nm"], now.ball_diameter_nm
    yield "probe_stylus", then["stylus_reach_nm"], now.stylus_reach_nm
    plans = {one["axis"]: one["approach"] for one in sheet["axes"]}
    ways = {axis: plan["overtravel_nm"] for axis, plan in plans.items() if plan and "overtravel_nm" in plan}
    for side in {ways[axis] for axis in "XY" if axis in ways}:
        yield "probe_overtravel_side", side, now.overtravel_side_nm
    if "Z" in ways:
        yield "probe_overtravel_up", ways["Z"], now.overtravel_up_nm
    # On X and Y what is added by hand is the radius, to the display's step.
    radii = {abs(one.get("by_hand_nm") or 0) for one in sheet["axes"] if one["axis"] in {"X", "Y"}}
    for radius in radii - {0}:
        yield "probe_radius", radius, now.effective_radius_nm


def _measure(length_nm: int, display: Display) -> Side:
    fields: Fields = {"length": format_length(length_nm, display, sign=False), "unit": str(display.unit)}
    return Side("meanwhile.measure", fields)
