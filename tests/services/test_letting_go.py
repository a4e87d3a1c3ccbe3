"""Sheets that no event names are let go in time; those that one names stay, whenever it comes."""

from __future__ import annotations

import json
from datetime import timedelta
from hashlib import sha256

import pytest

from tests.kit.house import House
from webapp.domain.usual.usual import LinesChoice
from webapp.services.audit.auditing import audit
from webapp.services.intake import coming_back
from webapp.services.numbers import choosing
from webapp.services.setups import stored_setups
from webapp.services.sheets import letting_go
from webapp.services.sheets.letting_go import KEPT, LET_GO, Gone, let_go
from webapp.store import Store
from webapp.store.errors import KeptForever


def sheets(house: House) -> dict[str, str]:
    """The text of every sheet, empty for one that was let go."""
    with house.store.reading():
        return {row["hash"]: row["text"] for row in house.store.sheets.all_sheets()}


def parts(house: House) -> int:
    with house.store.reading():
        return int(house.store.ask("SELECT count(*) FROM sheet_part")[0][0])


def changed_sheet(house: House) -> tuple[str, str]:
    """A new sheet, for other lines on one axis: each with a part that no other sheet has."""
    house.clock.forward(minutes=20)
    choice = LinesChoice(200 + house.clock().minute, 5_000, 400_000, None)
    choosing.choose(house.store, "vise-a", "X", choice, "Asked too often.", "ines", house.clock())
    return house.sheet()


def later(house: House) -> None:
    house.clock.moment += KEPT + timedelta(days=2)


def are_whole(house: House) -> bool:
    return all(sha256(text.encode()).hexdigest() == hash_ for hash_, text in sheets(house).items() if text)


def test_a_sheet_that_no_event_names_goes_with_its_parts_and_one_that_is_named_stays(house: House) -> None:
    done = house.signed_off()
    unnamed = {changed_sheet(house)[0] for _ in range(3)}
    assert let_go(house.store, house.clock()) == Gone(0, 0)
    later(house)
    now, _ = house.sheet()
    before, had = sheets(house), parts(house)
    gone = let_go(house.store, house.clock())
    left = sheets(house)
    went = {hash_ for hash_, text in left.items() if not text}
    assert unnamed <= went == left.keys() - {now, done.sheet_hash}
    assert (left[now], left[done.sheet_hash]) == (before[now], before[done.sheet_hash])
    assert gone == Gone(list(left.values()).count(""), had - parts(house))
    assert gone.parts > 0
    assert are_whole(house)
    assert audit(house.store) == []
    assert let_go(house.store, house.clock()) == Gone(0, 0)
    with house.store.reading():
        (said,) = house.store.ledger.changes(kind=LET_GO)
    assert json.loads(said["text"])["data"] == {"sheets": gone.sheets, "parts": gone.parts}


def test_an_event_that_comes_after_its_sheet_was_let_go_is_taken_once_the_tablet_brings_the_sheet(
    house: House,
) -> None:
    _, whole = changed_sheet(house)
    walk = house.walk().start()
    changed_sheet(house)
    later(house)
    house.sheet()
    assert let_go(house.store, house.clock()).sheets > 0
    tag = coming_back.sheet_tag(house.keyring, walk.sheet_hash)
    assert [one["code"] for one in house.accept(walk.parts)] == ["intake.sheet_unknown"] * len(walk.parts)
    assert not coming_back.take_sheet(house.store, house.keyring, whole + " ", tag, house.clock())
    for _ in range(2):
        assert coming_back.take_sheet(house.store, house.keyring, whole, tag, house.clock())
        assert are_whole(house)
        assert sheets(house)[walk.sheet_hash] == whole
        later(house)
        let_go(house.store, house.clock())
        assert sheets(house)[walk.sheet_hash] == ""
    assert coming_back.take_sheet(house.store, house.keyring, whole, tag, house.clock())
    assert {one["outcome"] for one in house.accept(walk.parts)} == {"accepted"}
    later(house)
    let_go(house.store, house.clock())
    assert sheets(house)[walk.sheet_hash] == whole
    assert audit(house.store) == []


def test_a_sheet_stays_that_an_event_names_which_waits(house: House) -> None:
    changed_sheet(house)
    walk = house.walk().start().until("touch")
    house.accept(walk.parts[2:])
    changed_sheet(house)
    later(house)
    house.sheet()
    let_go(house.store, house.clock())
    assert sheets(house)[walk.sheet_hash]
    assert {one["outcome"] for one in house.accept(walk.parts)} == {"accepted"}
    assert audit(house.store) == []


def test_a_sheet_stays_that_an_event_names_which_comes_to_wait_while_others_go(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.signed_off()
    changed_sheet(house)
    walk = house.walk().start().until("touch")
    for _ in range(2):
        changed_sheet(house)
    later(house)
    house.sheet()
    parts_of = letting_go._parts_of

    def meanwhile(store: Store, some: list[str]) -> dict[str, set[str]]:
        assert walk.sheet_hash in some
        house.accept(walk.parts[2:])
        return parts_of(store, some)

    monkeypatch.setattr(letting_go, "_parts_of", meanwhile)
    assert let_go(house.store, house.clock()).sheets > 0
    assert sheets(house)[walk.sheet_hash]
    assert are_whole(house)
    assert {one["outcome"] for one in house.accept(walk.parts)} == {"accepted"}


def test_a_sheet_that_comes_while_others_go_keeps_its_parts(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.signed_off()
    hash_, text = changed_sheet(house)
    for _ in range(2):
        changed_sheet(house)
    later(house)
    house.sheet()
    tag, taken = coming_back.sheet_tag(house.keyring, hash_), []
    take_away = letting_go._take_away

    def meanwhile(store: Store, some: dict[str, set[str]], note: int) -> int:
        assert some
        assert coming_back.take_sheet(house.store, house.keyring, text, tag, house.clock())
        taken.append(take_away(store, some, note))
        return taken[0]

    monkeypatch.setattr(letting_go, "_take_away", meanwhile)
    assert let_go(house.store, house.clock()).sheets > 1
    assert taken[0] > 0
    assert sheets(house)[hash_] == text
    assert are_whole(house)
    assert audit(house.store) == []


@pytest.mark.parametrize("statement", ["UPDATE sheet SET text = ''", "UPDATE sheet SET machine = 'mill-2'"])
def test_the_database_itself_keeps_the_text_of_a_sheet_that_is_named(house: House, statement: str) -> None:
    house.signed_off()
    changed_sheet(house)
    with pytest.raises(KeptForever), house.store.writing():
        house.store._database.raw(statement)
    assert all(sheets(house).values())


def test_a_named_sheet_without_its_text_is_found_by_the_audit(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = house.signed_off()
    changed_sheet(house)
    with house.store.altering(), house.store.writing():
        house.store.ask("DELETE FROM sheet_named")
        house.store.ask("UPDATE sheet SET text = '' WHERE hash = ?", (done.sheet_hash,))
    monkeypatch.setattr(stored_setups, "_SHEETS", {})  # the audit has a process of its own
    assert f"setup {done.setup}" in {one.record for one in audit(house.store)}
