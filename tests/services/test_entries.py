"""Reading the ledger by place, and asking it whether a file is known."""

from hashlib import sha256

import pytest

from tests.kit.house import House
from webapp.services.evidence.entries import entry_at, newest_entries, sealed_here
from webapp.services.evidence.ledger import SERVER, change


@pytest.fixture
def digest(house: House) -> str:
    """The hash of a file that the ledger says was sealed for a setup."""
    walk = house.walk().start()
    house.accept(walk.parts)
    found = sha256(b"a sealed file").hexdigest()
    with house.store.writing():
        house.store.records.add(walk.setup, found, 13, house.clock.text)
        data = {"sha256": found, "bytes": 13}
        change(house.store, "record.sealed", SERVER, walk.setup, walk.setup, data, house.clock())
    return found


def known(house: House, digest: str) -> bool:
    with house.store.reading():
        return sealed_here(house.store, digest)


def test_a_sealed_file_is_known_and_another_is_not(house: House, digest: str) -> None:
    assert known(house, digest)
    assert not known(house, sha256(b"another").hexdigest())


def by_hand(house: House, *statements: str) -> None:
    """What somebody does who holds the file of the database."""
    with house.store.writing():
        for name, table in house.store._database.raw(
            "SELECT name, tbl_name FROM sqlite_schema WHERE type = 'trigger'"
        ):
            if table in {"record", "change", "leaf", "node"}:
                house.store._database.raw(f"DROP TRIGGER {name}")
        for statement in statements:
            house.store._database.raw(statement)


FORGED = "UPDATE record SET sha256 = '" + "ab" * 32 + "'"
TEXT = "UPDATE change SET text = replace(text, '{digest}', '" + "ab" * 32 + "') WHERE type = 'record.sealed'"


@pytest.mark.parametrize("statements", [(FORGED,), (FORGED, TEXT)], ids=["list", "list and text"])
def test_a_list_or_a_text_that_was_changed_makes_no_file_known(
    house: House, digest: str, statements: tuple[str, ...]
) -> None:
    by_hand(house, *(statement.replace("{digest}", digest) for statement in statements))
    assert not known(house, "ab" * 32)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE node SET hash = zeroblob(32)",
        "DELETE FROM node WHERE level = 1",
        "UPDATE change SET text = text || ' ' WHERE type = 'record.sealed'",
    ],
)
def test_an_entry_that_does_not_lead_to_the_root_proves_nothing(
    house: House, digest: str, statement: str
) -> None:
    by_hand(house, statement)
    assert not known(house, digest)


@pytest.mark.usefixtures("digest")
def test_stretches_end_where_the_ledger_does(house: House) -> None:
    whole = newest_entries(house.store, None, 10_000)
    assert [one.position for one in whole.entries] == list(range(whole.size))
    last = newest_entries(house.store, None, 3)
    assert (last.first, last.before, last.entries) == (whole.size - 3, whole.size, whole.entries[-3:])
    assert newest_entries(house.store, 10**9, 3) == last
    assert newest_entries(house.store, 0, 3).entries == ()
    assert entry_at(house.store, whole.size - 1) == whole.entries[-1]
    assert entry_at(house.store, whole.size) is None


@pytest.mark.usefixtures("digest")
def test_an_entry_carries_what_was_signed_or_changed(house: House) -> None:
    kinds = {one.kind: one for one in newest_entries(house.store, None, 10_000).entries}
    event = kinds["event"]
    assert sha256(b"\x00" + event.text.encode()).hexdigest() == event.hash
    assert (event.by, event.type, event.subject) == ("mara", "setup.started", house.device.id)
    assert kinds["change"].setup is not None
