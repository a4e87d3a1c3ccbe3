"""A caution that counts as acknowledged earlier in the shift: the server looks up the event that it cites."""

import json
from collections.abc import Iterator
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import PINS, SHOP
from tests.kit.walk import Walk
from webapp.services.audit.auditing import audit
from webapp.services.decisions import signing_off
from webapp.services.setups import stored_setups

NOT_FOUND = "setup.caution_not_found"
RULES = replace(SHOP.rules, cautions_once_a_shift=("mara", "tomas"))


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path, shop=replace(SHOP, rules=RULES))
    yield made
    made.store.close()


def read(walk: Walk) -> list[dict[str, Any]]:
    """Acknowledge every caution; the events."""
    walk.start().until("board")
    return [event for event in walk.events if event["type"] == "caution.read"]


def carry(walk: Walk, earlier: list[dict[str, Any]], **claimed: str) -> list[dict[str, Any]]:
    """Begin a setup that carries these cautions, with one claim replaced; its part of an upload."""
    walk.start()
    for event in earlier:
        caution = event["data"]["caution"]
        claim = {"caution": caution, "read_at_utc": event["at_utc"], "read_event": event["id"]}
        walk.event("caution.carried", claim | claimed, walk.step["id"])
    return walk.parts


def problems(house: House, walk: Walk) -> list[str]:
    with house.store.reading():
        state = stored_setups.fold_stored(house.store, walk.setup)
    return [problem["code"] for problem in state["problems"]]


def received(receipts: list[dict[str, Any]]) -> list[str]:
    return [problem["code"] for receipt in receipts for problem in receipt["problems"]]


def test_what_was_acknowledged_on_this_tablet_is_found_in_the_store(house: House) -> None:
    first = house.walk()
    earlier = read(first)
    assert not received(house.accept(first.parts))
    second = house.walk()
    assert not received(house.accept(carry(second, earlier)))
    assert not problems(house, second)
    assert not audit(house.store)


@pytest.mark.parametrize("order", [1, -1])
def test_a_tablet_that_was_offline_brings_both_in_one_upload_in_any_order(house: House, order: int) -> None:
    first, second = house.walk(), house.walk()
    earlier = read(first)
    carry(second, earlier)
    assert not received(house.accept(house.device.sent[::order]))
    assert not problems(house, second)


def test_what_is_cited_waits_with_it_for_a_gap_before_both(house: House) -> None:
    first, second = house.walk(), house.walk()
    carry(second, read(first))
    parts = house.device.sent
    house.accept(parts[1:])
    assert not received(house.accept(parts[:1]))
    assert not problems(house, second)


def test_an_event_that_nobody_knows_is_taken_and_the_lead_sees_it(house: House) -> None:
    walk = house.walk()
    read_at_utc = house.clock.text
    claim = {"data": {"caution": "machine"}, "at_utc": read_at_utc, "id": "c" * 64}
    receipts = house.accept(carry(walk, [claim]))
    assert [receipt["outcome"] for receipt in receipts] == ["accepted", "accepted"]
    assert received(receipts) == [NOT_FOUND]
    assert problems(house, walk) == [NOT_FOUND]
    assert not audit(house.store)


@pytest.mark.parametrize(
    "claimed",
    [{"read_event": "c" * 64}, {"read_at_utc": "2026-11-25T07:59:00.000Z"}],
    ids=["another event", "another time"],
)
def test_a_claim_that_the_event_does_not_bear_out_is_a_problem(house: House, claimed: dict[str, str]) -> None:
    first, second = house.walk(), house.walk()
    earlier = read(first)[:1]
    carry(second, earlier, **claimed)
    assert NOT_FOUND in received(house.accept(house.device.sent))


def test_another_persons_word_does_not_count(house: House) -> None:
    first, second = house.walk("tomas"), house.walk("mara")
    carry(second, read(first))
    assert received(house.accept(house.device.sent)) == [NOT_FOUND] * 3


def test_another_tablets_word_does_not_count(house: House) -> None:
    other = Device(90_002, "Tablet 2")
    other.enrol(house.store, house.keyring, house.clock, code="8QF3KM9XRA")
    first, second = house.walk(device=other), house.walk()
    carry(second, read(first))
    house.accept(other.sent)
    assert received(house.accept(house.device.sent)) == [NOT_FOUND] * 3


def test_a_caution_that_did_not_count_in_its_own_setup_bears_nothing_out(house: House) -> None:
    first, second = house.walk(), house.walk()
    first.start()
    out_of_turn = first.event("caution.read", {"caution": "machine"}, "ready.stop")
    carry(second, [out_of_turn])
    assert received(house.accept(house.device.sent)) == ["setup.wrong_step", NOT_FOUND]


def test_other_words_of_the_caution_are_read_again(house: House) -> None:
    first = house.walk()
    earlier = read(first)
    house.accept(first.parts)
    second = house.walk()
    text = json.dumps(second.sheet)
    text = text.replace(
        second.sheet["procedure"]["stages"][0]["steps"][0]["caution"]["hazard"], "Other words."
    )
    second = Walk(house.device, house.clock, keep(house, text), "mara", 77)
    assert received(house.accept(carry(second, earlier))) == [NOT_FOUND]


def test_the_lead_reads_it_before_signing_off_and_it_says_so_once(house: House) -> None:
    walk = house.walk()
    claim = {"data": {"caution": "machine"}, "at_utc": house.clock.text, "id": "c" * 64}
    carry(walk, [claim])
    walk.until("sign")
    walk.sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    assert received(house.accept(walk.parts)) == [NOT_FOUND]
    queued = signing_off.queue(house.store)
    assert [row["problems"] for row in queued] == [1]
    assert problems(house, walk) == [NOT_FOUND]


def keep(house: House, text: str) -> tuple[str, str]:
    """Hand out a sheet of these words; its hash and text."""
    hash_ = sha256(text.encode()).hexdigest()
    sheet = json.loads(text)
    with house.store.writing():
        times = (sheet["compiled_at_utc"], sheet["expires_at_utc"])
        house.store.sheets.keep_sheet(hash_, "mill-1", text, hash_, times)
    return hash_, text
