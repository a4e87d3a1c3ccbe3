"""What a tablet could not send is brought in a file: taken as an upload is, and never more than that."""

import json
from typing import Any

import pytest

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import PINS
from tests.kit.walk import Walk
from webapp.services.audit.auditing import audit
from webapp.services.errors import RoleMissing
from webapp.services.intake import enrolling, from_file, intake
from webapp.services.intake.errors import FileOfNoTablet, WaitingFileUnreadable
from webapp.services.intake.from_file import Brought


def written(walk: Walk, **changes: Any) -> bytes:
    """The file as the tablet writes it."""
    file = {"domain": "zerokeep/waiting/1", "device": walk.device.id, "events": walk.parts}
    return json.dumps(file | changes).encode()


def take(house: House, content: bytes, by: str = "ines") -> Brought:
    return from_file.take_file(house.store, house.keyring, content, by, house.clock())


def events(house: House) -> int:
    with house.store.reading():
        return len(list(house.store.events.events_between(0, 2**62)))


def noted(house: House) -> list[Any]:
    """What the ledger says of files, oldest first."""
    with house.store.reading():
        return house.store.ledger.changes_of((from_file.BROUGHT, from_file.TAKEN), -1, 100)


def signed(house: House) -> Walk:
    walk = house.walk().through()
    walk.sign(PINS["mara"], house.keyring)
    return walk


def test_a_whole_setup_comes_in_by_file_with_its_signature_checked_and_the_file_on_the_ledger(
    house: House,
) -> None:
    walk = signed(house)
    brought = take(house, written(walk))
    assert (brought.accepted, brought.refused) == (len(walk.parts), 0)
    assert {receipt["outcome"] for receipt in house.accept(walk.parts)} == {"already_had"}
    assert house.accept(walk.parts)[-1]["signature"] == "verified"
    first, then = noted(house)
    assert {(row["by"], row["subject"]) for row in (first, then)} == {("ines", brought.file_sha256)}
    assert json.loads(first["text"])["data"] == {"events": len(walk.parts)}
    assert json.loads(then["text"])["data"] == {"outcomes": {"accepted": len(walk.parts)}}
    assert not audit(house.store)


def test_a_file_stands_on_the_ledger_before_anything_of_it_is_taken_in(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk, stored = signed(house), events(house)

    def stops(*_: Any) -> Any:
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr(intake, "take_in", stops)
        with pytest.raises(KeyboardInterrupt):
            take(house, written(walk))
    assert [row["type"] for row in noted(house)] == [from_file.BROUGHT]
    assert events(house) == stored
    take(house, written(walk))
    kinds = [row["type"] for row in noted(house)]
    assert kinds == [from_file.BROUGHT, from_file.BROUGHT, from_file.TAKEN]
    assert not audit(house.store)


def test_a_file_brought_twice_or_after_the_tablet_sent_changes_nothing(house: House) -> None:
    walk = signed(house)
    house.accept(walk.parts[:3])
    first, stored = take(house, written(walk)), events(house)
    assert (first.accepted, first.already_had) == (len(walk.parts) - 3, 3)
    again = take(house, written(walk))
    assert (again.accepted, again.already_had, events(house)) == (0, len(walk.parts), stored)


def test_a_file_of_more_than_one_upload_is_taken_whole(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(from_file, "MOST_EVENTS", 7)
    walk = signed(house)
    assert take(house, written(walk)).accepted == len(walk.parts)


def test_what_is_refused_is_counted_with_its_reason_and_the_rest_is_taken(house: House) -> None:
    walk = signed(house)
    broken = {**walk.parts[-1], "jws": walk.parts[-1]["jws"][:-4] + "AAAA"}
    brought = take(house, written(walk, events=[*walk.parts[:-1], broken]))
    assert (brought.accepted, brought.refused) == (len(walk.parts) - 1, 1)
    ((code, count),) = [(reason.code, reason.count) for reason in brought.reasons]
    assert (code, count) == (house.accept([broken])[0]["code"], 1)


def test_a_file_that_no_tablet_of_the_shop_signed_is_refused_whole(house: House) -> None:
    stranger = house.walk(device=Device(number=90_777)).through()
    with pytest.raises(FileOfNoTablet):
        take(house, written(stranger))
    with pytest.raises(FileOfNoTablet):
        take(house, written(stranger, device=house.device.id))
    with house.store.reading():
        assert house.store.events.refused() == []
        assert house.store.ledger.changes(kind=from_file.BROUGHT) == []
    assert events(house) == 0


def test_one_of_the_first_five_texts_has_to_be_a_tablets_own(house: House) -> None:
    walk, stranger = signed(house), house.walk(device=Device(number=90_777)).through()
    with pytest.raises(FileOfNoTablet):
        take(house, written(walk, events=[*stranger.parts[:5], *walk.parts]))
    assert events(house) == 0
    brought = take(house, written(walk, events=[*stranger.parts[:4], *walk.parts]))
    assert (brought.accepted, brought.refused) == (len(walk.parts), 4)


def test_a_file_of_a_tablet_that_was_taken_out_is_refused(house: House) -> None:
    content = written(signed(house))
    enrolling.disable(house.store, house.device.id, "ines", "Lost.", house.clock())
    with pytest.raises(FileOfNoTablet):
        take(house, content)


def test_a_file_of_sixteen_megabytes_is_read_and_a_byte_more_is_not(house: House) -> None:
    content = written(signed(house)).ljust(16 * 2**20)
    with pytest.raises(WaitingFileUnreadable):
        take(house, content + b" ")
    assert take(house, content).refused == 0


def test_a_file_of_twenty_thousand_events_is_read_and_of_one_more_is_not(house: House) -> None:
    walk, no_event = signed(house), {"jws": "x", "pin": None}
    with pytest.raises(FileOfNoTablet):
        take(house, written(walk, events=[no_event] * 20_000))
    with pytest.raises(WaitingFileUnreadable):
        take(house, written(walk, events=[no_event] * 20_001))


def test_only_a_lead_brings_a_file(house: House) -> None:
    with pytest.raises(RoleMissing):
        take(house, written(signed(house)), by="mara")
    assert events(house) == 0


@pytest.mark.parametrize(
    "change",
    [
        lambda whole: whole[:-40],
        lambda _: b"",
        lambda _: b"%PDF-1.7",
        lambda whole: b"\xff" + whole,
        lambda whole: whole.replace(b"zerokeep/waiting/1", b"zerokeep/waiting/2"),
        lambda whole: whole.replace(b'"events": [', b'"events": [7, '),
        lambda whole: whole.replace(b'"device"', b'"device": "twice", "device"'),
        lambda _: b'{"domain": "zerokeep/waiting/1", "device": "d", "events": []}',
    ],
    ids=["cut", "empty", "a PDF", "no UTF-8", "later kind", "no event", "a key twice", "no events"],
)
def test_what_is_no_whole_file_of_a_tablet_is_refused_and_nothing_is_stored(
    house: House, change: Any
) -> None:
    with pytest.raises(WaitingFileUnreadable):
        take(house, change(written(signed(house))))
    assert events(house) == 0
