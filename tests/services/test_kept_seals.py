"""A sealed PIN counts only when the tablet signed it, and one that waits for its check is gone with the
check, whatever the database keeps of deleted rows on its disk.
"""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.postgresql import server
from tests.kit.shop import PINS
from tests.kit.walk import Walk
from webapp.proof.errors import PinSealRefused
from webapp.proof.keys.jwe import seal_pin, sign_seal
from webapp.proof.keys.kept_seal import close_seal, open_kept
from webapp.services.audit.auditing import audit
from webapp.services.evidence.ledger import change
from webapp.services.intake import intake
from webapp.services.people.errors import SecretNotChecked
from webapp.services.setups import pins, sealed_pins
from webapp.store.repositories.ledger import LedgerRepository

WRONG = "364859"


def waiting_to_be_signed(house: House) -> Walk:
    walk = house.walk().start().until("sign")
    walk.sign(PINS["mara"], house.keyring)
    return walk


def bare_seal(house: House, walk: Walk, pin: str) -> str:
    """What anybody can make who has a copy of the event: the key for PINs is public."""
    bound = {"event_id": walk.events[-1]["id"], "device_id": house.device.id, "person_id": "mara"}
    return seal_pin(pin, house.keyring.pin_jwk, **bound)


def on_the_disk(house: House) -> bytes:
    """Every byte of the database's files: an SQLite file, or a server's folder with its write-ahead log."""
    house.store.close()
    if not isinstance(house.store._address, str):
        return b"".join(path.read_bytes() for path in house.folder.glob("zerokeep.db*"))
    with server().administered() as superuser:
        superuser.execute("CHECKPOINT")
    return b"".join(path.read_bytes() for path in (server().folder / "data").rglob("*") if path.is_file())


def kept_keys(house: House) -> list[Path]:
    return sorted((house.folder / "short-keys").glob("*"))


def not_checked(*_: object) -> str:
    raise SecretNotChecked


@pytest.fixture
def waits(house: House, monkeypatch: pytest.MonkeyPatch) -> Walk:
    """A signature whose PIN could not be checked when it came."""
    walk = waiting_to_be_signed(house)
    with monkeypatch.context() as patched:
        patched.setattr(pins, "verify_pin", not_checked)
        assert house.accept(walk.parts)[-1]["signature"] is None
    return walk


def test_a_guess_that_somebody_else_sealed_beside_a_copied_event_is_no_try(house: House) -> None:
    walk = waiting_to_be_signed(house)
    house.accept(walk.parts[:-1])
    stranger = Device(70, "Stranger")
    guess = bare_seal(house, walk, WRONG)
    for seal in (guess, sign_seal(guess, stranger.key, house.device.id), sign_seal(guess, stranger.key, "x")):
        assert house.accept([{**walk.parts[-1], "pin": seal}])[-1]["signature"] == "seal_wrong"
    assert house.accept(walk.parts[-1:])[-1]["signature"] == "verified"


def enrolled_early(house: House) -> Device:
    """A tablet that was enrolled before tablets signed seals: its entry names no code."""
    device = Device(71, "Early")
    columns = {"name": "Early", "display": "standalone"}
    keys = {"pin_key": house.keyring.pin_key_id, "receipt_key": house.keyring.receipt_key_id}
    with house.store.writing():
        house.store.devices.add(device.id, device.jwk, **columns, **keys, enrolled_at_utc=house.clock.text)
        data = {**columns, **keys, "jwk": device.jwk}
        change(house.store, "device.enrolled", "ines", device.id, None, data, house.clock())
    return device


def test_an_early_tablet_may_leave_its_signature_out_until_the_first_seal_that_it_signs(house: House) -> None:
    device = enrolled_early(house)
    house.device = device
    first = waiting_to_be_signed(house)
    unsigned = {**first.parts[-1], "pin": bare_seal(house, first, PINS["mara"])}
    assert house.accept([*first.parts[:-1], unsigned])[-1]["signature"] == "verified"
    second = waiting_to_be_signed(house)
    assert house.accept(second.parts)[-1]["signature"] == "verified"
    with house.store.reading():
        (entry,) = house.store.ledger.changes(kind=sealed_pins.SIGNS_SEALS)
    assert entry["subject"] == device.id
    third = waiting_to_be_signed(house)
    unsigned = {**third.parts[-1], "pin": bare_seal(house, third, PINS["mara"])}
    assert house.accept([*third.parts[:-1], unsigned])[-1]["signature"] == "seal_wrong"
    assert audit(house.store) == []


def test_a_seal_asks_for_its_own_tablets_entries_alone(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    def not_all(*_: object) -> None:
        raise AssertionError("entries of every tablet are read")

    first = waiting_to_be_signed(house)
    monkeypatch.setattr(LedgerRepository, "changes_of", not_all)
    seal, now = first.parts[-1]["pin"], house.clock()
    assert sealed_pins.as_the_tablet_sealed(house.store, house.device.id, seal, now) != seal


def test_what_waits_for_its_check_is_nothing_without_its_key_and_the_key_goes_with_the_check(
    house: House, waits: Walk
) -> None:
    (path,) = kept_keys(house)
    key, seal = path.read_bytes(), waits.parts[-1]["pin"]
    with house.store.reading():
        kept = house.store.events.pending_seal(waits.events[-1]["id"])
    assert path.stat().st_mode & 0o077 == 0
    before = on_the_disk(house)
    assert kept is not None
    assert kept.encode() in before
    assert not [one for one in parts_of(seal) if one in before]
    assert key not in before
    assert intake.check_pending_seals(house.store, house.keyring, house.clock()) == 1
    assert kept_keys(house) == []
    after = on_the_disk(house)
    assert not [one for one in (*parts_of(seal), key) if one in after]
    # Whatever is left of the row on the disk opens with that key alone.
    assert open_kept(kept, key, waits.events[-1]["id"]) == seal
    assert open_kept(kept, None, waits.events[-1]["id"]) is None


def parts_of(seal: str) -> list[bytes]:
    """The signature around a sealed PIN, and what stands in it."""
    return [part.encode() for part in seal.split(".")[1:]]


def test_a_seal_whose_key_is_gone_counts_as_none_and_comes_again(house: House, waits: Walk) -> None:
    kept_keys(house)[0].unlink()
    assert intake.check_pending_seals(house.store, house.keyring, house.clock()) == 1
    with house.store.reading():
        assert pins.decision(house.store, waits.setup, waits.events[-1]["id"]) == "seal_missing"
    assert house.accept(waits.parts[-1:])[-1]["signature"] == "verified"


@pytest.mark.usefixtures("waits")
def test_a_key_that_a_crash_left_behind_goes_at_the_next_start(house: House) -> None:
    before = kept_keys(house)
    house.store.short_keys.make("an event whose row was never written")
    (left,) = {*kept_keys(house)} - {*before}
    for path in kept_keys(house):
        made_at(path, house.clock() - timedelta(hours=1))
    sealed_pins.forget_all_but_waiting(house.store, house.clock())
    assert kept_keys(house) == before
    assert not left.exists()
    assert intake.check_pending_seals(house.store, house.keyring, house.clock()) == 1


@pytest.mark.parametrize(("seconds", "goes"), [(10 * 60, False), (10 * 60 + 1, True)])
def test_a_key_that_no_row_keeps_goes_when_it_is_older_than_ten_minutes(
    house: House, seconds: int, goes: bool
) -> None:
    before = kept_keys(house)
    house.store.short_keys.make("an event whose row was never written")
    (left,) = {*kept_keys(house)} - {*before}
    made_at(left, house.clock() - timedelta(seconds=seconds))
    sealed_pins.forget_all_but_waiting(house.store, house.clock())
    assert left.exists() != goes


def test_a_key_that_is_made_in_that_moment_stays(house: House) -> None:
    """Its row is written after it, and may not be there yet."""
    house.store.short_keys.make("an event whose row comes next")
    (path,) = kept_keys(house)
    made_at(path, house.clock() - timedelta(minutes=1))
    sealed_pins.forget_all_but_waiting(house.store, house.clock())
    assert kept_keys(house) == [path]


def made_at(path: Path, moment: datetime) -> None:
    os.utime(path, (moment.timestamp(), moment.timestamp()))


def test_a_key_that_a_crash_left_half_is_made_anew(house: House) -> None:
    keys = house.store.short_keys
    whole = keys.make("event")
    (path,) = kept_keys(house)
    assert keys.make("event") == whole
    path.write_bytes(whole[:7])
    assert keys.key("event") is None
    assert len(keys.make("event")) == len(whole)


def test_a_kept_seal_of_another_event_or_under_another_key_does_not_open() -> None:
    key: Any = bytes(range(32))
    kept = close_seal("seal", key, "one")
    assert open_kept(kept, key, "one") == "seal"
    assert open_kept(kept, key, "two") is None
    assert open_kept(kept, bytes(32), "one") is None
    assert open_kept("early.seal", None, "one") == "early.seal"


def test_a_tablet_that_nobody_knows_signs_no_seal(house: House) -> None:
    with pytest.raises(PinSealRefused):
        sealed_pins.as_the_tablet_sealed(house.store, "nobody", "a.b.c", house.clock())
