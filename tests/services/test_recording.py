"""Records: once, after the sign-off, whole or not at all."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from tests.kit.house import House
from webapp.domain.record.bundle import RecordBundle, from_files
from webapp.domain.setup.fold import fold
from webapp.services.audit.auditing import audit
from webapp.services.decisions import signing_off
from webapp.services.errors import NoSuchRecord, NoSuchSetup, NotSignedOff
from webapp.services.setups import recording
from webapp.store.errors import DatabaseDamaged, DatabaseNotReached, DiskFull

RENDERER = {"weasyprint": "70.0", "zerokeep": "0.1.0"}
UNKNOWN = "00000000-0000-0000-0000-00000000dead"


def render(bundle: RecordBundle) -> Any:
    return b"%PDF- " + bundle.digest().encode()


def seal(pdf: bytes, sealed_at_utc: Any) -> Any:
    return pdf + b" sealed " + sealed_at_utc.encode()


def sealed(
    house: House, setup: str, render: Callable[[Any], bytes] = render, seal: Callable[[bytes], bytes] = seal
) -> Any:
    return recording.sealed_pdf(
        house.store, setup, render, seal, house.keyring.head_signer, house.clock(), RENDERER
    )


def files(house: House) -> Any:
    return sorted(path.name for path in (house.folder / "records").rglob("*") if path.is_file())


def test_the_bundle_folds_to_the_stored_state(house: House) -> None:
    walk = house.signed_off()
    bundle = recording.bundle(house.store, walk.setup, house.clock(), RENDERER)
    assert from_files(bundle.files()) == bundle
    state = signing_off.detail(house.store, walk.setup)["state"]
    assert fold(bundle.sheet(), bundle.decoded_events(), bundle.decoded_decisions()) == state
    assert [person["id"] for person in bundle.record["people"]] == ["ines", "mara"]
    assert [device["id"] for device in bundle.devices] == [house.device.id]
    assert "argon2" not in repr(bundle)


def test_a_record_is_sealed_once_and_its_hash_is_on_the_ledger(house: House) -> None:
    walk = house.signed_off()
    digest, pdf = sealed(house, walk.setup)
    house.clock.forward(days=1)
    assert sealed(house, walk.setup) == (digest, pdf)
    assert recording.stored_pdf(house.store, walk.setup) == (digest, pdf)
    with house.store.reading():
        changes = house.store.ledger.changes(kind="record.sealed")
    assert [digest in row["text"] for row in changes] == [True]
    assert files(house) == [digest]


def test_nothing_is_sealed_before_the_sign_off(house: House) -> None:
    walk = house.signed()
    with pytest.raises(NotSignedOff):
        sealed(house, walk.setup)
    assert files(house) == []


def test_a_failed_seal_leaves_the_sign_off_and_can_be_tried_again(house: House) -> None:
    walk = house.signed_off()

    def broken(_pdf: bytes, _sealed_at_utc: str) -> bytes:
        raise RuntimeError("no seal today")

    with pytest.raises(RuntimeError):
        sealed(house, walk.setup, seal=broken)
    assert (files(house), recording.unsealed(house.store)) == ([], [walk.setup])
    sealed(house, walk.setup)
    assert recording.unsealed(house.store) == []


def test_a_record_whose_row_cannot_be_written_leaves_no_file(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk = house.signed_off()

    def full(*_: object) -> None:
        raise DiskFull

    with monkeypatch.context() as patched:
        patched.setattr(house.store.records, "add", full)
        with pytest.raises(DiskFull):
            sealed(house, walk.setup)
    assert files(house) == []
    assert sealed(house, walk.setup)[0] in files(house)


def test_a_record_whose_row_is_there_though_its_answer_was_lost_stays(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk = house.signed_off()
    writing = house.store.writing

    @contextmanager
    def answer_is_lost() -> Iterator[None]:
        monkeypatch.setattr(house.store, "writing", writing)
        with writing():
            yield
        raise DatabaseNotReached(where="there", why="the connection broke behind the commit")

    monkeypatch.setattr(house.store, "writing", answer_is_lost)
    with pytest.raises(DatabaseNotReached):
        sealed(house, walk.setup)
    digest, pdf = sealed(house, walk.setup)
    assert recording.stored_pdf(house.store, walk.setup) == (digest, pdf)
    assert files(house) == [digest]


def test_an_unsigned_page_can_be_had_of_any_setup_and_is_not_kept(house: House) -> None:
    walk = house.walk().start()
    house.accept(walk.parts)
    assert recording.unsigned_pdf(house.store, walk.setup, render, house.clock(), RENDERER).startswith(
        b"%PDF-"
    )
    assert files(house) == []


def test_an_unknown_setup_has_no_record(house: House) -> None:
    with pytest.raises(NoSuchSetup):
        sealed(house, UNKNOWN)
    with pytest.raises(NoSuchRecord):
        recording.stored_pdf(house.store, UNKNOWN)
    with pytest.raises(NoSuchSetup):
        recording.bundle(house.store, UNKNOWN, house.clock(), RENDERER)


def test_a_changed_record_file_is_not_handed_out_and_the_audit_names_it(house: House) -> None:
    walk = house.signed_off()
    digest, pdf = sealed(house, walk.setup)
    house.store.records.files.path(digest).write_bytes(pdf[:-1] + b"X")
    with pytest.raises(DatabaseDamaged):
        recording.stored_pdf(house.store, walk.setup)
    assert [(fault.code, digest in fault.record) for fault in audit(house.store)] == [
        ("audit.record_file", True)
    ]
