"""A sheet comes back as the exact text that was handed out, and what sheets share is kept once."""

from __future__ import annotations

import json
import random
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from tests.kit.tampering import without_triggers
from webapp.domain.plain.json_strict import canonical_text
from webapp.services.audit.auditing import audit
from webapp.store import sheet_parts
from webapp.store.errors import KeptForever
from webapp.store.sheet_parts import join, split

MOST_BYTES_A_SETUP = 12_000


def any_value(chance: random.Random, depth: int = 0) -> Any:
    kind = chance.randrange(7 if depth < 4 else 4)
    if kind < 4:
        return [None, chance.random() < 0.5, chance.randrange(-(10**9), 10**9), any_text(chance)][kind]
    if kind == 4:
        return [any_value(chance, depth + 1) for _ in range(chance.randrange(9))]
    return {any_text(chance): any_value(chance, depth + 1) for _ in range(chance.randrange(9))}


def any_text(chance: random.Random) -> str:
    return "".join(chance.choice('aé"\\\n{}[],:\U0001f600') for _ in range(chance.randrange(90)))


def test_any_object_comes_back_as_its_exact_text() -> None:
    chance, parted = random.Random(11), 0
    for _ in range(300):
        text = canonical_text({any_text(chance): any_value(chance) for _ in range(8)})
        form, parts = split(text)
        assert join(form, lambda _, parts=parts: parts) == text
        parted += bool(parts)
    assert parted > 150


def test_a_part_that_sheets_share_is_opened_once(monkeypatch: pytest.MonkeyPatch) -> None:
    chance, opened = random.Random(12), list[bytes | None]()
    shared = {f"part {number}": [any_text(chance) for _ in range(40)] for number in range(5)}
    kept = [split(canonical_text({"of": number, "all": {**shared, "own": number}})) for number in range(3)]
    bodies = {hash_: body for _, parts in kept for hash_, body in parts.items()}
    sheet_parts._opened_and_read.cache_clear()
    whole = sheet_parts.opened
    monkeypatch.setattr(sheet_parts, "opened", lambda body: (opened.append(body), whole(body))[1])
    for form, _ in kept:
        join(form, lambda _: bodies)
    assert len(bodies) > 5
    assert sorted(map(bytes, filter(None, opened))) == sorted(bodies.values())


@pytest.mark.parametrize("text", ["", "{", "[1]", '{"a": 1}', '{"b":1,"a":2}', '{"a":1.50}', '["a","b","c"]'])
def test_a_text_that_is_no_canonical_object_is_kept_as_it_is(text: str) -> None:
    assert split(text) == (text, {})


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    folder = tmp_path_factory.mktemp("parts")
    house = House(folder, fixed_keyring(folder / "keys", Clock()))
    for _ in range(4):
        house.signed_off()
        house.clock.forward(minutes=20)
    house.sheet()
    return house


def raw(house: House, statement: str, values: tuple[Any, ...] = ()) -> Any:
    with house.store.writing():
        return house.store._database.raw(statement, values)


def test_a_setup_more_takes_little_though_each_has_a_sheet_of_its_own(house: House) -> None:
    def taken() -> int:
        sheets = raw(house, "SELECT sum(length(text)) FROM sheet")[0][0]
        return int(sheets + raw(house, "SELECT sum(length(body) + length(hash)) FROM sheet_part")[0][0])

    sheets, before = len(raw(house, "SELECT hash FROM sheet")), taken()
    for _ in range(3):
        house.signed_off()
        house.clock.forward(minutes=20)
    house.sheet()
    assert len(raw(house, "SELECT hash FROM sheet")) >= sheets + 3
    assert taken() - before < 3 * MOST_BYTES_A_SETUP
    with house.store.reading():
        kept = list(house.store.sheets.all_sheets())
    assert all(len(row["text"]) > 4 * MOST_BYTES_A_SETUP for row in kept)
    assert all(sha256(row["text"].encode()).hexdigest() == row["hash"] for row in kept)


def test_a_sheet_from_before_is_read_as_it_lies_there(house: House) -> None:
    with house.store.reading():
        text = next(iter(house.store.sheets.all_sheets()))["text"].replace("Vise A", "Vise Q")
    hash_ = sha256(text.encode()).hexdigest()
    sheet = json.loads(text)
    times = sheet["compiled_at_utc"], sheet["expires_at_utc"]
    raw(house, "INSERT INTO sheet VALUES (?, 'mill-1', ?, 'sheet.brought_back', ?, ?)", (hash_, text, *times))
    with house.store.reading():
        row = house.store.sheets.sheet(hash_)
        assert row is not None
        assert row["text"] == house.store.sheets.texts_of_sheets([hash_])[hash_] == text
    assert audit(house.store) == []


def test_a_part_is_never_changed(house: House) -> None:
    with pytest.raises(KeptForever):
        raw(house, "UPDATE sheet_part SET body = zeroblob(3)")


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE sheet_part SET body = zeroblob(3) WHERE hash = ?",
        "DELETE FROM sheet_part WHERE hash = ?",
        "UPDATE sheet_part SET body = (SELECT body FROM sheet_part WHERE hash <> ?1 LIMIT 1) WHERE hash = ?1",
    ],
)
def test_a_part_that_was_altered_is_found_on_every_sheet_that_has_it(tmp_path: Path, statement: str) -> None:
    house = House(tmp_path, fixed_keyring(tmp_path / "keys", Clock()))
    hash_, _ = house.sheet()
    named = raw(house, "SELECT text FROM sheet WHERE hash = ?", (hash_,))[0][0].split('"procedure\\":","')[1][
        :64
    ]
    with without_triggers(lambda text: raw(house, text)):
        raw(house, statement, (named,))
    assert {(fault.code, fault.record) for fault in audit(house.store)} == {("audit.sheet", f"sheet {hash_}")}


def test_a_later_sheet_with_a_damaged_part_is_kept_whole(house: House) -> None:
    house.sheet()
    raw(house, "DROP TRIGGER sheet_part_no_update")
    raw(house, "UPDATE sheet_part SET body = zeroblob(3)")
    house.clock.forward(days=1)
    hash_, text = house.sheet()
    (kept,) = raw(house, "SELECT text FROM sheet WHERE hash = ?", (hash_,))
    assert kept == (text,)
    with house.store.reading():
        assert (house.store.sheets.sheet(hash_) or {})["text"] == text
