"""What a lead changes about the shop."""

import json
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.shop import MILL, SHOP, load_shop
from webapp.domain.plain.errors import error_classes
from webapp.domain.shop.class_list import Invited
from webapp.domain.shop.errors import SlotHeldBackError, SlotNotAssignedError, SlotTakenError
from webapp.domain.shop.shop_file import ShopFileError
from webapp.domain.shop.told_shop import Shop
from webapp.services.audit import shop_rows
from webapp.services.errors import (
    DayNotBegun,
    LastLead,
    NoSuchFixture,
    NoSuchMachine,
    NoSuchPerson,
    NoSuchSlot,
    NoSuchValue,
    PersonKnownAlready,
    ReasonMissing,
    RoleMissing,
    RoleUnknown,
    SeatingJustStarted,
    SeatingNotNewest,
    ServiceError,
    TimeRefused,
)
from webapp.services.evidence.ledger import SERVER
from webapp.services.numbers import seatings
from webapp.services.people import accounts, rights
from webapp.services.shop import inviting, out_of_use, slots
from webapp.services.shop.loading import load
from webapp.words import catalogue, say

UNTIL = "2027-06-30T00:00:00.000Z"


def slot(house: House, label: str) -> Any:
    with house.store.reading():
        return house.store.shop.slot("mill-1", label)


def give(
    house: House,
    label: str = "G57",
    person: str = "ines",
    until: str | None = UNTIL,
    by: str = "ines",
    machine: str = "mill-1",
) -> None:
    slots.give_slot(house.store, machine, label, person, until, by, house.clock())


def ledger_size(house: House) -> Any:
    with house.store.reading():
        return house.store.ledger.size()


def reload(house: House, shop: Shop) -> Any:
    return load(house.store, shop, SERVER, house.clock(), lambda _: "", house.keyring)


def test_a_free_slot_is_given_and_stands_on_the_ledger(house: House) -> None:
    give(house)
    assert (slot(house, "G57")["owner"], slot(house, "G57")["until_utc"]) == ("ines", UNTIL)
    with house.store.reading():
        assert len(house.store.ledger.changes(kind="slot.given")) == 1


def test_a_slot_never_has_two_owners(house: House) -> None:
    with pytest.raises(SlotTakenError):
        give(house, "G54", "ivo")
    assert slot(house, "G54")["owner"] == "mara"


def test_an_ended_slot_is_held_back_until_its_values_are_copied_out(house: House) -> None:
    with pytest.raises(SlotTakenError):
        slots.release(house.store, "mill-1", "G54", "ines", house.clock())
    slots.end_slot(house.store, "mill-1", "G54", "ines", house.clock())
    with pytest.raises(SlotHeldBackError):
        give(house, "G54", "ines")
    with pytest.raises(SlotHeldBackError):
        slots.keep_slot(house.store, "mill-1", "G54", "ines", house.clock())
    slots.release(house.store, "mill-1", "G54", "ines", house.clock())
    give(house, "G54", "ines")
    assert slot(house, "G54")["owner"] == "ines"


def test_a_free_slot_cannot_be_ended_and_an_own_one_cannot_be_kept_for_the_shop(house: House) -> None:
    with pytest.raises(SlotNotAssignedError):
        slots.end_slot(house.store, "mill-1", "G57", "ines", house.clock())
    with pytest.raises(SlotTakenError):
        slots.keep_slot(house.store, "mill-1", "G54", "ines", house.clock())
    slots.keep_slot(house.store, "mill-1", "G57", "ines", house.clock())
    assert slot(house, "G57")["kind"] == "shop"


def test_slots_machines_people_and_times_that_there_are_not_are_named(house: House) -> None:
    with pytest.raises(NoSuchSlot):
        give(house, "G99")
    with pytest.raises(NoSuchMachine):
        give(house, machine="mill-9")
    with pytest.raises(NoSuchPerson):
        give(house, person="nobody")
    for time in ("tomorrow", "2027-01-31T00:00:00"):
        with pytest.raises(TimeRefused):
            give(house, until=time)
    with pytest.raises(NoSuchFixture):
        seatings.start_seating(house.store, "vise-z", "s", "Moved.", "ines", house.clock())
    with pytest.raises(NoSuchValue):
        seatings.leave_out(house.store, "none", "X", "A chip.", "ines", house.clock())


def test_a_seating_started_again_within_a_minute_is_the_same_press(house: House) -> None:
    start = seatings.start_seating
    start(house.store, "vise-a", "vise-a-2", "Moved.", "ines", house.clock())
    house.clock.forward(seconds=59)
    with pytest.raises(SeatingJustStarted) as refused:
        start(house.store, "vise-a", "vise-a-3", "Moved.", "ines", house.clock())
    assert refused.value.fields["seconds"] == 60
    house.clock.forward(seconds=1)
    start(house.store, "vise-a", "vise-a-3", "Moved again.", "ines", house.clock())


def test_every_change_needs_a_lead(house: House) -> None:
    store, now = house.store, house.clock()
    tries = [
        lambda: give(house, by="mara"),
        lambda: slots.end_slot(store, "mill-1", "G54", "mara", now),
        lambda: slots.release(store, "mill-1", "G54", "mara", now),
        lambda: slots.keep_slot(store, "mill-1", "G57", "mara", now),
        lambda: rights.authorise(store, "ivo", "mill-2", None, "mara", now),
        lambda: rights.withdraw(store, "ivo", "mill-1", "No.", "mara", now),
        lambda: seatings.start_seating(store, "vise-a", "s", "Moved.", "mara", now),
        lambda: seatings.leave_out(store, "s", "X", "A chip.", "mara", now),
        lambda: seatings.take_in(store, "s", "X", "No chip.", "mara", now),
        lambda: accounts.change_roles(store, "ivo", ["lead"], "mara", now),
        lambda: accounts.disable_person(store, "ivo", "Left.", "mara", now),
        lambda: accounts.enable_person(store, "ivo", "Back.", "mara", now),
    ]
    before = ledger_size(house)
    for attempt in tries:
        with pytest.raises(RoleMissing):
            attempt()
    assert ledger_size(house) == before


def test_an_authorisation_counts_up_to_and_not_at_its_end(house: House) -> None:
    with house.store.reading():
        people = house.store.people
        assert people.is_authorised("ivo", "mill-1", "2026-11-25T19:59:59.999Z")
        assert not people.is_authorised("ivo", "mill-1", "2026-11-25T20:00:00.000Z")
        assert not people.is_authorised("ivo", "mill-2", "2026-11-25T19:59:59.999Z")


def test_an_authorisation_is_extended_and_withdrawn(house: House) -> None:
    rights.authorise(house.store, "ivo", "mill-1", UNTIL, "ines", house.clock.forward(hours=1))
    with house.store.reading():
        assert house.store.people.is_authorised("ivo", "mill-1", "2027-01-01T00:00:00.000Z")
    rights.withdraw(house.store, "ivo", "mill-1", "Needs the course.", "ines", house.clock.forward(hours=1))
    with house.store.reading():
        assert not house.store.people.is_authorised("ivo", "mill-1", "2027-01-01T00:00:00.000Z")
        assert house.store.people.is_authorised("ivo", "mill-1", "2026-11-25T09:30:00.000Z")


def test_a_right_to_a_machine_out_of_use_is_withdrawn_and_does_not_come_back_with_it(house: House) -> None:
    store = house.store
    out_of_use.take_out(store, "machine", "mill-1", "In repair.", "ines", house.clock())
    rights.withdraw(store, "mara", "mill-1", "Does lathe work now.", "ines", house.clock())
    with pytest.raises(NoSuchMachine):
        rights.withdraw(store, "mara", "mill-1", "Once more.", "ines", house.clock())
    house.clock.forward(minutes=1)
    out_of_use.take_back(store, "machine", "mill-1", "Repaired.", "ines", house.clock(), "unused")
    assert "mara" not in {one["id"] for one in json.loads(house.sheet()[1])["people"]}


def test_the_last_lead_can_neither_be_disabled_nor_made_something_else(house: House) -> None:
    accounts.disable_person(house.store, "tomas", "Left.", "ines", house.clock())
    with pytest.raises(LastLead):
        accounts.disable_person(house.store, "ines", "Left.", "ines", house.clock())
    with pytest.raises(LastLead):
        accounts.change_roles(house.store, "ines", ["auditor"], "ines", house.clock())


def test_a_lead_who_was_taken_out_changes_nothing_more(house: House) -> None:
    accounts.disable_person(house.store, "tomas", "Left.", "ines", house.clock())
    before = ledger_size(house)
    with pytest.raises(RoleMissing):
        accounts.disable_person(house.store, "ivo", "Left.", "tomas", house.clock())
    assert ledger_size(house) == before


@pytest.mark.parametrize(
    ("person", "roles", "by", "refusal"),
    [
        ("zoe", ["operator"], "mara", RoleMissing),
        ("zoe", [], "ines", RoleUnknown),
        ("zoe", ["boss"], "ines", RoleUnknown),
        ("mara", ["operator"], "ines", PersonKnownAlready),
    ],
)
def test_nobody_is_let_in_twice_by_somebody_who_may_not_or_in_a_role_that_is_none(
    house: House, person: str, roles: list[str], by: str, refusal: type[ServiceError]
) -> None:
    secrets = {person: inviting.FirstSecrets("brittle cobalt umbrella morning", "271936")}
    one = [Invited(1, "Zoe Hill", person)]

    def let_in(roles: list[str], by: str) -> None:
        rights = inviting.Rights(roles, [], None)
        inviting.let_in(house.store, house.keyring, one, secrets, rights, by, house.clock())

    before = ledger_size(house)
    with pytest.raises(refusal):
        let_in(roles, by)
    assert ledger_size(house) == before
    if person == "zoe":
        let_in(["operator"], "ines")


def test_reasons_are_asked_for(house: House) -> None:
    for attempt in (accounts.disable_person, accounts.enable_person):
        with pytest.raises(ReasonMissing):
            attempt(house.store, "ivo", "", "ines", house.clock())


def test_loading_the_same_shop_again_changes_nothing(house: House) -> None:
    before = ledger_size(house)
    assert reload(house, SHOP) == []
    assert ledger_size(house) == before


def test_loading_applies_only_the_differences(house: House) -> None:
    changed = replace(
        SHOP,
        machines=(replace(MILL, name="Plover the Second"), *SHOP.machines[1:]),
        people=SHOP.people[:-1],
        authorisations=SHOP.authorisations[:-1],
        slots=SHOP.slots[:-2] + SHOP.slots[-1:],
    )
    found = {(one["type"], one["subject"]) for one in reload(house, changed)}
    assert found == {
        ("machine.changed", "mill-1"),
        ("person.disabled", "ivo"),
        ("person.authorisation_withdrawn", "ivo"),
        ("slot.released", "mill-1"),
    }


def test_a_shop_that_cannot_be_loaded_leaves_nothing_behind(house: House) -> None:
    before = ledger_size(house)
    broken = replace(
        SHOP,
        rules=replace(SHOP.rules, name="Another"),
        slots=(*SHOP.slots, replace(SHOP.slots[0], label="G59", owner="nobody")),
    )
    with pytest.raises(Exception, match=r"(?i)foreign key"):
        reload(house, broken)
    assert ledger_size(house) == before


def test_a_file_that_takes_the_seating_of_another_fixture_is_refused_with_its_place(house: House) -> None:
    other = replace(SHOP.seatings[-1], id="vise-a-1")
    with pytest.raises(ShopFileError) as refused:
        reload(house, replace(SHOP, seatings=(SHOP.seatings[0], other)))
    (fault,) = refused.value.faults
    assert fault.code == "shop_file.seating_of_other"
    assert fault.fields == {"place": "fixture “vise-b”, seating", "id": "vise-a-1", "other": "vise-a"}


def test_loading_keeps_what_was_seen_in_a_slot(house: House) -> None:
    house.signed()
    seen = slot(house, "G54")["last_values"]
    load_shop(
        house.store,
        house.keyring,
        house.clock,
        replace(SHOP, slots=(replace(SHOP.slots[0], until_utc=UNTIL), *SHOP.slots[1:])),
    )
    assert slot(house, "G54")["last_values"] == seen
    assert slot(house, "G54")["until_utc"] == UNTIL


def test_a_slot_that_a_file_leaves_out_is_set_free_and_keeps_its_last_values(house: House) -> None:
    house.signed_off()
    seen = slot(house, "G54")["last_values"]
    without = replace(SHOP, slots=tuple(one for one in SHOP.slots if one.label not in {"G54", "G56", "G57"}))
    told = {(one["type"], one["data"].get("slot")) for one in reload(house, without)}
    assert told == {("slot.released", "G54"), ("slot.no_longer_kept", "G56")}
    rows = {label: slot(house, label) for label in ("G54", "G56", "G57")}
    assert {row["kind"] for row in rows.values()} == {"free"}
    assert rows["G54"]["last_values"] == seen != {}
    assert house.sheet()
    assert reload(house, without) == []
    assert list(shop_rows.misfits(house.store)) == []


def test_a_free_slot_that_its_machine_does_not_have_any_more_stops_no_sheet(house: House) -> None:
    fewer = replace(MILL, slot_family="G54-G56, G58")
    reload(house, replace(SHOP, machines=(fewer, *SHOP.machines[1:])))
    assert slot(house, "G57")["kind"] == "free"
    labels = [one["label"] for one in json.loads(house.sheet()[1])["slots"]]
    assert labels == ["G54", "G55", "G56", "G58"]


def test_every_refusal_of_the_use_cases_has_words() -> None:
    classes = error_classes(ServiceError)
    assert len(classes) > 40
    for refusal in classes:
        fields = {
            name: "services.role_lead" if name.endswith("_code") else "x" for name in refusal.field_names
        }
        assert say(refusal.code, fields)
    assert {one for one in catalogue() if one.startswith("services.")} >= {one.code for one in classes}


def test_a_seating_may_begin_with_a_day_that_has_begun_and_the_newest_that_has_holds(house: House) -> None:
    store, now = house.store, house.clock()
    for day, refusal in ((date(2999, 1, 1), DayNotBegun), (date(2026, 11, 1), SeatingNotNewest)):
        with pytest.raises(refusal):
            seatings.start_seating(store, "vise-a", "late", "Moved.", "ines", now, day)
    seatings.start_seating(store, "vise-a", "begun-back", "Moved.", "ines", now, date(2026, 11, 20))
    with store.writing():
        store.shop.start_seating("of-old", "vise-a", "2026-11-10T00:00:00.000Z", "Found in the log.")
    with store.reading():
        told = [(row["id"], row["until_utc"]) for row in store.shop.seatings("vise-a")]
        present = store.shop.seating_now("vise-a")
    assert told == [
        ("vise-a-1", "2026-11-10T00:00:00.000Z"),
        ("of-old", "2026-11-20T00:00:00.000Z"),
        ("begun-back", None),
    ]
    assert present is not None
    assert present["id"] == "begun-back"
