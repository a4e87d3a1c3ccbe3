"""Names of people: a salted hash on the ledger, a row that can be erased, and an audit that compares both."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import replace
from hashlib import sha256
from hmac import HMAC

import pytest

from tests.kit.house import House
from tests.kit.people import one_more
from tests.kit.shop import PASSPHRASES, SHOP
from webapp.domain.shop.shop import Person
from webapp.services.audit import people
from webapp.services.audit.auditing import audit
from webapp.services.errors import NameErased, RoleMissing
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.people import accounts, names
from webapp.services.people.errors import PersonInUse
from webapp.services.people.secret_rules import hash_passphrase
from webapp.services.shop import loading

NAME = "Quilla Hartmann-Osei"


def faults(house: House) -> list[str]:
    return [f"{one.code} {one.record}" for one in audit(house.store)]


def erased(house: House) -> None:
    one_more(house, "zoe", NAME)
    accounts.disable_person(house.store, "zoe", "Left.", "ines", house.clock())
    names.erase(house.store, "zoe", "ines", house.clock())


def test_an_erased_name_is_nowhere_and_the_ledger_says_so(house: House) -> None:
    one_more(house, "zoe", NAME)
    with house.store.reading():
        row = house.store.people.person("zoe")
        said = json.loads(house.store.ledger.changes(kind="person.added", newest=1)[0]["text"])["data"]
    assert row is not None
    assert row["salt"] is not None
    # The digest worked out by the standard library alone: HMAC-SHA-256 (RFC 2104) of the name.
    wanted = HMAC(row["salt"].encode(), NAME.encode(), sha256).hexdigest()
    assert said == {"name_sha256": wanted, "roles": ["operator"]}
    assert NAME.encode() in house.kept()
    with pytest.raises(PersonInUse):
        names.erase(house.store, "zoe", "ines", house.clock())
    accounts.disable_person(house.store, "zoe", "Left.", "ines", house.clock())
    with pytest.raises(RoleMissing):
        names.erase(house.store, "zoe", "mara", house.clock())
    names.erase(house.store, "zoe", "ines", house.clock())
    assert NAME.encode() not in house.kept()
    assert row["salt"].encode() not in house.kept()
    with house.store.reading():
        left = house.store.people.person("zoe")
        entry = house.store.ledger.changes(kind=names.NAME_ERASED, newest=1)[0]
        not_covered = people.not_covered(house.store)
    assert left is not None
    assert (left["name"], left["salt"]) == ("zoe", None)
    assert (entry["by"], entry["subject"]) == ("ines", "zoe")
    assert json.loads(entry["text"])["data"] == {"before": {"name_sha256": wanted}}
    assert list(not_covered) == ["person_name zoe"]
    assert faults(house) == []


def test_an_erased_name_does_not_come_back(house: House) -> None:
    erased(house)
    for attempt in (
        lambda: names.erase(house.store, "zoe", "ines", house.clock()),
        lambda: accounts.enable_person(house.store, "zoe", "Back again.", "ines", house.clock()),
        lambda: loading.load(
            house.store,
            replace(SHOP, people=(*SHOP.people, Person("zoe", NAME, ("operator",)))),
            *(SERVER, house.clock(), str, house.keyring),
        ),
    ):
        with pytest.raises(NameErased):
            attempt()
    assert NAME.encode() not in house.kept()


def test_a_name_that_the_shop_file_changes_is_compared_old_and_new(house: House) -> None:
    with house.store.reading():
        before = house.store.people.person("mara")
    assert before is not None
    called = tuple(replace(one, name=NAME) if one.id == "mara" else one for one in SHOP.people)
    loading.load(house.store, replace(SHOP, people=called), SERVER, house.clock(), str, house.keyring)
    with house.store.reading():
        after = house.store.people.person("mara")
        said = json.loads(house.store.ledger.changes(kind="person.changed", newest=1)[0]["text"])["data"]
    assert after is not None
    assert said["name_sha256_before"] == names.hash_of(before)
    assert said["name_sha256"] == names.hash_of(after)
    assert before["name"] not in json.dumps(said)
    assert faults(house) == []


def test_what_another_hand_changes_about_people_is_found_whatever_note_was_forged(house: House) -> None:
    """The store's own connection makes a note that fits, as a forger would; only the ledger tells."""
    erased(house)
    with house.store.reading():
        salt = (house.store.people.person("mara") or {})["salt"]
    hashed = hash_passphrase(PASSPHRASES["ines"])
    store = house.store
    for planted, person in (
        (lambda: store.people.call("mara", "Somebody Else", salt), "person mara"),
        (lambda: store.people.erase_name("ivo"), "person ivo"),
        (lambda: store.people.call("zoe", NAME, salt), "person zoe"),
        (lambda: store.people.change("mara", passphrase_hash=hashed), "person mara"),
        (lambda: store.people.change("mara", pin_hash=hashed), "person mara"),
        (lambda: store.people.change("mara", roles=["lead"]), "person mara"),
        (lambda: store.people.change("zoe", active=True, disabled_at_utc=None), "person zoe"),
        (lambda: store.people.change("mara", must_change_pin=True), "person mara"),
        (lambda: store.people.add("eve", "Eve", ["lead"], salt), "person eve"),
        (lambda: store.people.withdraw(1, house.clock.text), "authorisation 1"),
    ):
        with suppress(_Enough), store.writing():
            planted()
            assert faults_inside(house) == [f"audit.not_as_said {person}"]
            raise _Enough
    with suppress(_Enough), store.writing():
        store.people.authorise("mara", "mill-1", "2026-11-01T00:00:00.000Z", None)
        assert [one.split()[1] for one in faults_inside(house)] == ["authorisation"]
        raise _Enough
    assert faults(house) == []


class _Enough(Exception):
    """Takes a planted change back."""


def faults_inside(house: House) -> list[str]:
    return [f"{one.code} {one.record}" for one in people.misfits(house.store)]


def test_an_entry_from_before_says_the_name_in_clear_and_still_fits(house: House) -> None:
    with house.store.writing():
        house.store.people.add("old", NAME, ["operator"], "5a" * 32)
        change(
            house.store, "person.added", SERVER, "old", None,
            {"name": NAME, "roles": ["operator"]}, house.clock(),
        )  # fmt: skip
    with house.store.reading():
        assert "person old" in people.not_covered(house.store)
    assert faults(house) == []
    with house.store.writing():
        house.store.people.call("old", "Another", "5a" * 32)
    assert faults(house) == ["audit.not_as_said person old"]
