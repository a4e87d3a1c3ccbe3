"""The shop written out as a file and loaded again: whatever the desk allows comes back, nothing changes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.shop import MILL, SHOP
from webapp import field_words
from webapp.domain.shop.fields import as_plain
from webapp.domain.shop.levels import Held
from webapp.domain.shop.shop_file import ShopFileError, read_shop
from webapp.domain.shop.shop_text import write_shop
from webapp.domain.shop.told_shop import Authorisation, Shop, SlotAssignment
from webapp.services.audit import people as people_rows
from webapp.services.audit import shop_rows
from webapp.services.errors import NoSuchPerson, OwnerHasOne, OwnerOutOfUse, SlotOutsideFamily
from webapp.services.evidence.ledger import SERVER, change, on_ledger
from webapp.services.people import accounts, names, rights
from webapp.services.shop import items, out_of_use, slot_terms, slots
from webapp.services.shop.as_file import shop_of
from webapp.services.shop.items import Wanted
from webapp.services.shop.loading import Change, as_stored, load
from webapp.services.shop.slot_terms import Asked

UNTIL = "2027-06-30T00:00:00.000Z"
NOTED = "Two mornings with Ines, “vise and probe”"


def written(house: House) -> str:
    return write_shop(shop_of(house.store), field_words.in_file)


def loaded(house: House, shop: Shop, *, dry_run: bool = False) -> list[Change]:
    now = house.clock.forward(minutes=1)
    return load(house.store, shop, SERVER, now, lambda _: "", house.keyring, dry_run=dry_run)


def right(
    house: House, person: str = "ivo", machine: str = "mill-1"
) -> tuple[str | None, str | None, str | None]:
    with house.store.reading():
        (row,) = (one for one in house.store.people.running([person]) if one["machine"] == machine)
    return row["level"], row["training"], row["until_utc"]


def misfits(house: House) -> list[Any]:
    return [*shop_rows.misfits(house.store), *people_rows.misfits(house.store)]


def with_right(shop: Shop, new: Authorisation) -> Shop:
    others = [one for one in shop.authorisations if (one.person, one.machine) != (new.person, new.machine)]
    return replace(shop, authorisations=(*others, new))


@pytest.fixture
def beside(house: House) -> House:
    """Ivo has to have a lead beside him at the first mill."""
    now = house.clock.forward(minutes=1)
    rights.authorise(house.store, "ivo", "mill-1", None, "ines", now, "beside", NOTED)
    return house


def test_a_right_comes_back_as_it_is_held(beside: House) -> None:
    shop = read_shop(written(beside))
    assert Authorisation("ivo", "mill-1", None, "beside", NOTED) in shop.authorisations
    assert Authorisation("mara", "mill-2", "2027-01-31T00:00:00.000Z", "alone") in shop.authorisations
    assert loaded(beside, shop, dry_run=True) == []
    assert loaded(with_right_gone(beside, shop), shop) != []
    assert right(beside) == ("beside", NOTED, None)


def with_right_gone(house: House, shop: Shop) -> House:
    """The same house after a file that gives Ivo no right."""
    loaded(
        house, replace(shop, authorisations=tuple(one for one in shop.authorisations if one.person != "ivo"))
    )
    return house


@pytest.mark.parametrize("until", [None, "2027-05-01T00:00:00.000Z"])
def test_a_level_that_a_file_leaves_out_lets_nobody_alone(beside: House, until: str | None) -> None:
    silent = with_right(shop_of(beside.store), Authorisation("ivo", "mill-1", until))
    loaded(beside, silent)
    assert right(beside) == ("beside", NOTED, until)
    loaded(with_right_gone(beside, silent), silent)
    assert right(beside) == ("beside", NOTED, until), "nor where it was withdrawn in between"
    assert misfits(beside) == []


def test_a_level_that_a_file_says_is_the_one_that_counts(beside: House) -> None:
    said = with_right(shop_of(beside.store), Authorisation("ivo", "mill-1", None, "alone"))
    assert {one["type"] for one in loaded(beside, said)} == {
        "person.authorisation_withdrawn",
        "person.authorised",
    }
    assert right(beside) == ("alone", NOTED, None)
    assert misfits(beside) == []


@pytest.mark.parametrize("ends", [("alone", "beside"), ("beside", "alone")])
def test_of_two_rights_to_one_machine_the_one_with_a_lead_beside_counts(
    house: House, ends: tuple[str, str]
) -> None:
    for_ever, until = (
        Authorisation("ivo", "mill-1", one, how) for one, how in zip((None, UNTIL), ends, strict=True)
    )
    loaded(house, replace(SHOP, authorisations=(for_ever, until)))
    (ivo,) = [one for one in json.loads(house.sheet()[1])["people"] if one["id"] == "ivo"]
    assert ivo["beside"] is True
    with house.store.reading():
        assert rights.held_here(house.store, "ivo", "mill-1") == Held("beside")


def test_a_level_that_there_is_not_is_a_fault_of_its_place(beside: House) -> None:
    text = written(beside).replace('level = "beside"', 'level = "blindfold"')
    with pytest.raises(ShopFileError) as refused:
        read_shop(text)
    (fault,) = refused.value.faults
    assert (fault.code, fault.fields["place"]) == ("shop_file.level", "person “ivo”, authorised")


def test_whatever_the_desk_allows_comes_back_and_changes_nothing(beside: House) -> None:
    """Accounts out of use that still have a slot, a right, a place among the practised, an erased name."""
    practised = replace(SHOP.rules, cautions_once_a_shift=("ivo", "mara"))
    loaded(beside, replace(shop_of(beside.store), rules=practised))
    store, now = beside.store, beside.clock.forward(minutes=1)
    slots.end_slot(store, "mill-1", "G54", "ines", now)
    slots.keep_slot(store, "mill-1", "G59", "ines", now)
    slots.give_slot(store, "mill-2", "G55", "tomas", "2027-01-31T10:00:00.000Z", "ines", now)
    for person in ("ivo", "mara"):
        accounts.disable_person(store, person, "Left.", "ines", now)
    names.erase(store, "ivo", "ines", now)
    text = written(beside)
    assert text.count("in_use = false") == 2
    assert loaded(beside, read_shop(text), dry_run=True) == []
    assert loaded(beside, read_shop(text)) == []
    assert misfits(beside) == []


def test_an_account_out_of_use_that_nothing_names_is_left_out_of_the_file(house: House) -> None:
    now = house.clock.forward(minutes=1)
    slots.end_slot(house.store, "mill-1", "G58", "ines", now)
    slots.release(house.store, "mill-1", "G58", "ines", now)
    rights.withdraw(house.store, "ivo", "mill-1", "Left.", "ines", now)
    accounts.disable_person(house.store, "ivo", "Left.", "ines", now)
    assert "ivo" not in {one.id for one in shop_of(house.store).people}
    assert loaded(house, read_shop(written(house)), dry_run=True) == []


def test_a_file_says_who_is_out_of_use_to_a_shop_that_knows_them_and_to_a_new_one(
    house: House, tmp_path: Path
) -> None:
    people = tuple(replace(one, in_use=one.id != "ivo") for one in SHOP.people)
    shop = read_shop(write_shop(replace(shop_of(house.store), people=people), field_words.in_file))
    assert [(one["type"], one["subject"]) for one in loaded(house, shop)] == [("person.disabled", "ivo")]
    (tmp_path / "other").mkdir()
    other = House(tmp_path / "other", house.keyring, shop)
    for one in (house, other):
        with one.store.reading():
            person, slot = one.store.people.person("ivo"), one.store.shop.slot("mill-1", "G58")
        assert person is not None
        assert slot is not None
        assert (person["active"], slot["owner"]) == (False, "ivo")
        assert misfits(one) == []
    renamed = replace(shop, people=tuple(replace(one, name=f"{one.name} B") for one in shop.people))
    loaded(house, renamed)
    with house.store.reading():
        person = house.store.people.person("ivo")
    assert person is not None
    assert (person["name"], person["active"]) == ("Ivo Brandt B", False)
    assert misfits(house) == []
    only = replace(shop, people=tuple(replace(one, in_use="lead" not in one.roles) for one in SHOP.people))
    with pytest.raises(ShopFileError, match="no_lead"):
        read_shop(write_shop(only, field_words.in_file))


def test_one_rule_says_who_can_be_given_a_slot(house: House) -> None:
    """At the desk, many at once and by a file: nobody out of use, and nobody a second one of a machine."""
    store, now = house.store, house.clock.forward(minutes=1)
    slots.end_slot(store, "mill-1", "G58", "ines", now)
    accounts.disable_person(store, "ivo", "Left.", "ines", now)
    for person, label, refusal, why in (
        ("ivo", "G58", OwnerOutOfUse, "out_of_use"),
        ("ivo", "G57", OwnerOutOfUse, "out_of_use"),
        ("mara", "G57", OwnerHasOne, "has_one"),
    ):
        with pytest.raises(refusal):
            slots.give_slot(store, "mill-1", label, person, None, "ines", now)
        (fault,) = slot_terms.plan(store, Asked("give", machine="mill-1", people=(person,))).faults
        assert fault.code == f"slot_terms.{why}"
        if label == "G57":
            shop = shop_of(store)
            new = SlotAssignment("mill-1", "G57", "person", person, None)
            with pytest.raises(ShopFileError) as refused:
                loaded(house, replace(shop, slots=(*shop.slots, new)))
            assert [one.code for one in refused.value.faults] == [f"shop_file.owner_{why}"]
    (fault,) = slot_terms.plan(store, Asked("move", slots=(("mill-1", "G58"),))).faults
    assert fault.code == "slot_terms.out_of_use"
    moved = tuple(replace(one, label="G57") if one.owner == "tomas" else one for one in shop_of(store).slots)
    assert loaded(house, replace(shop_of(store), slots=moved)), "in the place of another it is no second one"


def test_a_second_slot_that_was_given_before_the_rule_stays(house: House) -> None:
    with house.store.writing():
        house.store.shop.put_slot("mill-1", "G57", "person", "mara", None)
    assert loaded(house, read_shop(written(house)), dry_run=True) == []
    slots.give_slot(house.store, "mill-1", "G57", "mara", UNTIL, "ines", house.clock())
    assert loaded(house, read_shop(written(house)), dry_run=True) == []


def test_the_desk_keeps_nothing_that_its_own_file_would_be_refused_for(house: House) -> None:
    for kind, item_id, item, refusal in (
        ("machine", "mill-1", replace(MILL, slot_family="G54-G57"), SlotOutsideFamily),
        ("shop", "shop", replace(SHOP.rules, cautions_once_a_shift=("nobody",)), NoSuchPerson),
    ):
        over = items.found(house.store, kind, item_id).version
        with pytest.raises(refusal):
            items.look(house.store, Wanted(kind, item_id, item, over), "ines", house.clock())
    over = items.found(house.store, "machine", "mill-1").version
    fewer = Wanted("machine", "mill-1", replace(MILL, slot_family="G54-G56, G58"), over)
    looked = items.look(house.store, fewer, "ines", house.clock()).version
    items.keep(house.store, fewer, "G57 is worn.", "ines", house.clock(), looked)
    assert loaded(house, read_shop(written(house)), dry_run=True) == []


def test_a_slot_that_is_somebodys_is_not_free_under_another_spelling(house: House) -> None:
    over = items.found(house.store, "machine", "mill-1").version
    spelled = Wanted("machine", "mill-1", replace(MILL, slot_family="G054-G059, G59.1-G59.3"), over)
    with pytest.raises(SlotOutsideFamily):
        items.look(house.store, spelled, "ines", house.clock())
    with house.store.writing():
        house.store.shop.put("machine", "mill-1", as_stored(as_plain(spelled.item)))
    over = items.found(house.store, "machine", "mill-1").version
    slower = replace(
        spelled, item=replace(MILL, slot_family="G054-G059, G59.1-G59.3", latency_s=0.01), over=over
    )
    items.look(house.store, slower, "ines", house.clock())


def test_a_machine_out_of_use_is_left_out_of_the_file_with_the_rights_to_it(house: House) -> None:
    out_of_use.take_out(house.store, "machine", "mill-1", "Sold.", "ines", house.clock())
    before = right(house)
    shop = read_shop(written(house))
    assert {one.machine for one in shop.authorisations} == {"mill-2"}
    assert loaded(house, shop) == []
    assert right(house) == before, "it is held as it was where the machine comes back"
    assert misfits(house) == []


def test_a_form_that_is_kept_as_it_stands_writes_no_field_that_came_with_this_version(house: House) -> None:
    with house.store.writing():
        early = house.store.shop.item("machine", "mill-1") or {}
        del early["more_fixtures"]
        house.store.shop.put("machine", "mill-1", early)
        said = {"value": on_ledger(early), "before": {}, "reason": "As an earlier version wrote it."}
        change(house.store, "machine.changed", "ines", "mill-1", None, said, house.clock())
    now = items.found(house.store, "machine", "mill-1")
    wanted = Wanted("machine", "mill-1", now.item, now.version)
    looked = items.look(house.store, wanted, "ines", house.clock()).version
    items.keep(house.store, wanted, "Only looked.", "ines", house.clock(), looked)
    assert misfits(house) == []
