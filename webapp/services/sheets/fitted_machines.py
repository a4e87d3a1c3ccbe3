"""Machines with all that belongs to them, and what the usual of each axis is worked out from, as stored.

Rule: a machine may have several fixtures, and whatever is worked out is of one of them: its seating, its
values, its lines, its budget, its procedure, its sheet. Nothing of another fixture goes in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from webapp.domain.plain.field_types import LONGEST_NAME
from webapp.domain.sheet.lines_here import lines_choice
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.fitted_machine import FittedMachine, Place, fixtures_of
from webapp.domain.shop.shop import Fixture, FixtureFace, Machine, Probe, ShopRules
from webapp.domain.usual.usual import FloorInputs, LinesChoice
from webapp.services.errors import NoShopYet, NoSuchFixture, NoSuchMachine, SheetCannotBeMade
from webapp.services.sheets import known_of_axis

if TYPE_CHECKING:
    from webapp.store import Store


def places(store: Store) -> tuple[Place, ...]:
    """Every fixture on every machine in use, by the machine's id, inside the caller's transaction."""
    machines = store.shop.items("machine")
    return tuple(Place(id_, fixture) for id_, value in machines.items() for fixture in fixtures_of(value))


def places_on(store: Store, machine_id: str) -> tuple[Place, ...]:
    """The fixtures on one machine, in the order in which they are offered; none for one that is not in use.
    Inside the caller's transaction.
    """
    value = store.shop.item("machine", machine_id)
    return tuple(Place(machine_id, fixture) for fixture in fixtures_of(value)) if value else ()


def place_of(store: Store, fixture_id: str) -> Place | None:
    """Where a fixture is bolted, None where no machine in use has it; inside the caller's transaction."""
    return next((place for place in places(store) if place.fixture == fixture_id), None)


def fitted_machine(store: Store, machine_id: str, fixture_id: str | None = None) -> FittedMachine:
    """A machine with one of its fixtures (None: the one that is offered first) and all else that belongs to
    it, inside the caller's transaction.

    Raises NoShopYet, NoSuchMachine, NoSuchFixture, SheetCannotBeMade.
    """
    machine = _item(store, Machine, "machine", machine_id)
    if fixture_id is not None and fixture_id not in machine.fixtures:
        raise NoSuchFixture(fixture=fixture_id[:LONGEST_NAME])
    fixture = _item(store, Fixture, "fixture", fixture_id or machine.fixture)
    return FittedMachine(_rules(store), machine, fixture, _item(store, Probe, "probe", machine.probe))


def _rules(store: Store) -> ShopRules:
    value = store.shop.item("shop", "shop")
    if value is None:
        raise NoShopYet
    return from_plain(ShopRules, value)


def _item(store: Store, kind: type[Any], word: str, item_id: str) -> Any:
    value = store.shop.item(word, item_id)
    if value is None and word == "machine":
        raise NoSuchMachine(machine=item_id)
    if value is None:
        raise SheetCannotBeMade(machine=item_id, what_code="services.part_missing")
    return from_plain(kind, value)


def lines_of(store: Store, fitted: FittedMachine, axis: str) -> LinesChoice:
    """The lead's choice for one fixture and axis, the shop's where there is none of its own."""
    own = store.shop.choice(fitted.fixture.id, axis)
    shops = lines_choice(fitted.rules, axis, fitted.machine.unit)
    if own is None:
        return shops
    return replace(
        shops,
        ask_one_in=own["ask_one_in"],
        stop_one_in=own["stop_one_in"],
        ceiling_nm=own["ceiling_nm"],
        coverage_factor=own["coverage_factor"],
        stop_length_nm=own["stop_length_nm"],
    )


@dataclass(frozen=True)
class AxisParts:
    """All that the usual of one fixture's axis is worked out from, its values aside."""

    fitted: FittedMachine
    machine_id: str
    face: FixtureFace
    floor: FloorInputs
    choice: LinesChoice
    has_own_choice: bool

    @property
    def rules(self) -> ShopRules:
        """The shop's."""
        return self.fitted.rules

    @property
    def machine(self) -> Machine:
        """The one at which the axis is touched."""
        return self.fitted.machine

    @property
    def fixture(self) -> Fixture:
        """The one on it."""
        return self.fitted.fixture


def axis_parts(store: Store, fixture_id: str, axis: str) -> AxisParts:
    """The parts of an axis that is touched on a fixture in use, inside the caller's transaction.

    Raises NoShopYet, NoSuchFixture, SheetCannotBeMade.
    """
    place = place_of(store, fixture_id)
    if place is not None:
        fitted = fitted_machine(store, *place)
        for face in fitted.fixture.faces:
            if face.axis == axis:
                return _axis_parts(store, place.machine, fitted, face)
    raise NoSuchFixture(fixture=fixture_id[:LONGEST_NAME])


def parts_of_axes(store: Store, place: Place) -> tuple[AxisParts, ...]:
    """The parts of every axis that is touched at a fixture of a machine,
    inside the caller's transaction. Raises as above.
    """
    fitted = fitted_machine(store, *place)
    return tuple(_axis_parts(store, place.machine, fitted, face) for face in fitted.fixture.faces)


def _axis_parts(store: Store, machine_id: str, fitted: FittedMachine, face: FixtureFace) -> AxisParts:
    floor = known_of_axis.floor(store, fitted, face.axis)
    choice = lines_of(store, fitted, face.axis)
    own = store.shop.choice(fitted.fixture.id, face.axis)
    return AxisParts(fitted, machine_id, face, floor, choice, own is not None)
