"""Old records are taken away whole years at a time, each with a tombstone that the audit goes by."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from tests.kit.house import House
from tests.services.test_recording import files, sealed
from webapp.cli import main
from webapp.services.audit import disposal, handing_out
from webapp.services.audit.auditing import audit
from webapp.services.decisions import signing_off
from webapp.services.errors import ReasonMissing, RecordDisposed, RoleMissing
from webapp.services.evidence import tombstones
from webapp.services.evidence.entries import sealed_here
from webapp.services.evidence.ledger import said_by
from webapp.services.setups import recording
from webapp.store.files import HashedFiles
from webapp.store.rows import RecordRow


def test_what_is_old_is_disposed_of_with_a_tombstone_and_the_audit_says_so(house: House) -> None:
    old = house.signed_off()
    digest, _ = sealed(house, old.setup)
    house.clock.forward(days=400)
    young = house.store.records
    now = house.clock()
    assert disposal.older_than(house.store, 2, now) == []
    found = disposal.older_than(house.store, 1, now)
    assert [row["sha256"] for row in found] == [digest]
    for by, reason, refused in (("mara", "Five years are over.", RoleMissing), ("ines", " ", ReasonMissing)):
        with pytest.raises(refused):
            disposal.dispose(house.store, found, disposal.Asked(reason, by, now))
    assert files(house) == [digest]
    assert handing_out._setups(house.store, handing_out.Asked()) == [old.setup]
    asked = disposal.Asked("Five years are over.", "ines", now)
    assert disposal.dispose(house.store, found, asked) == disposal.Disposed(1, [])
    assert disposal.dispose(house.store, found, asked).records == 0  # twice at once: one tombstone each
    assert files(house) == []
    assert handing_out._setups(house.store, handing_out.Asked()) == []
    assert young.files.is_whole(digest) is False
    assert audit(house.store) == []
    with house.store.reading():
        assert sealed_here(house.store, digest)
        (entry,) = house.store.ledger.changes(kind=tombstones.DISPOSED)
        assert list(tombstones.not_kept(house.store)) == [f"record {digest}"]
    data = json.loads(entry["text"])["data"]
    assert (entry["by"], data["sha256"], data["reason"]) == ("ines", digest, "Five years are over.")
    assert disposal.older_than(house.store, 1, now + timedelta(days=1)) == []
    with pytest.raises(RecordDisposed):
        recording.stored_pdf(house.store, old.setup)
    with pytest.raises(RecordDisposed):
        sealed(house, old.setup)
    detail = signing_off.detail(house.store, old.setup)
    assert detail["disposed"] is not None
    assert detail["record"] is not None


def test_a_file_that_is_gone_without_a_tombstone_is_a_fault(house: House) -> None:
    walk = house.signed_off()
    digest, pdf = sealed(house, walk.setup)
    house.store.records.files.remove(digest)
    assert [fault.code for fault in audit(house.store)] == ["audit.record_file"]
    assert house.store.records.files.write(pdf) == digest
    with house.store.writing():  # ended between the tombstone and the file: the next call takes it away
        house.store.ledger.append_change(
            json.dumps({"data": {"sha256": digest}}, separators=(",", ":")),
            kind=tombstones.DISPOSED, by="ines", subject=walk.setup, setup=None, at_utc=house.clock.text,
        )  # fmt: skip
    disposal.sweep(house.store)
    assert files(house) == []


def test_the_command_says_which_and_alters_nothing_on_a_dry_run(
    house: House, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    walk = house.signed_off()
    digest, _ = sealed(house, walk.setup)
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", "four plain words here")
    monkeypatch.setattr("webapp.commands.dispose.utc_now", lambda: house.clock() + timedelta(days=800))
    call = ["dispose", "--data-folder", str(house.folder), "--older-than"]
    Path(house.folder / "keys").mkdir(exist_ok=True)
    house.keyring.save(house.folder / "keys", "four plain words here")
    assert main([*call, "2", "--dry-run"]) == 0
    assert digest in capsys.readouterr().out
    assert files(house) == [digest]
    assert main([*call, "2"]) == 2
    assert main([*call, "0", "--dry-run"]) == 2
    assert main([*call, "3", "--by", "ines", "--reason", "Three years are over."]) == 0
    assert files(house) == [digest]
    assert main([*call, "2", "--by", "ines", "--reason", "Two years are over."]) == 0
    assert files(house) == []


def two_sealed(house: House) -> list[RecordRow]:
    """Two sealed records in the order in which they are audited."""
    for walk in (house.signed_off(), house.signed_off()):
        sealed(house, walk.setup)
    with house.store.reading():
        return list(house.store.records.all_records())


def asked(house: House) -> disposal.Asked:
    return disposal.Asked("Two years are over.", "ines", house.clock())


@pytest.mark.parametrize("after_reading", [False, True])
def test_a_record_that_goes_while_it_is_audited_is_no_fault_and_the_next_is_looked_at(
    house: House, monkeypatch: pytest.MonkeyPatch, after_reading: bool
) -> None:
    first, second = two_sealed(house)
    files = house.store.records.files
    files.remove(second["sha256"])
    read = files.read

    def meanwhile(digest: str) -> bytes:
        pdf = read(digest) if after_reading and digest == first["sha256"] else b""
        if digest == first["sha256"]:
            disposal.dispose(house.store, [first], asked(house))
        return pdf or read(digest)

    monkeypatch.setattr(files, "read", meanwhile)
    assert [(fault.code, second["sha256"] in fault.record) for fault in audit(house.store)] == [
        ("audit.record_file", True)
    ]


def test_tombstones_come_in_pieces_each_for_a_lead_and_all_before_the_first_file(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows, seen = two_sealed(house), []

    def between() -> None:
        with house.store.writing():  # others get their turn
            seen.append((len(tombstones.disposed(house.store)), len(files(house))))

    monkeypatch.setattr(disposal, "AT_A_TIME", 1)
    monkeypatch.setattr(tombstones, "AT_A_TIME", 1)
    assert disposal.dispose(house.store, rows, asked(house), between) == disposal.Disposed(2, [])
    assert seen == [(1, 2), (2, 2)]
    assert files(house) == []


def test_what_a_crash_left_between_two_pieces_is_gone_on_with_under_the_same_word(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows, at = two_sealed(house), house.clock.forward(minutes=1)
    word = disposal.Asked("Two years are over.", "ines", at, house.clock.text)
    assert disposal.go_on(house.store, at) == disposal.Disposed(0, [])

    def dies() -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(disposal, "AT_A_TIME", 1)
    with pytest.raises(KeyboardInterrupt):
        disposal.dispose(house.store, rows, word, dies)
    assert len(files(house)) == 2
    later = two_sealed(house)
    house.clock.forward(minutes=5)
    assert disposal.go_on(house.store, house.clock()) == disposal.Disposed(1, [])
    with house.store.reading():
        told = tombstones.disposed(house.store)
    assert told.keys() == {row["sha256"] for row in rows}
    assert {(one["by"], said_by(one["text"])["reason"]) for one in told.values()} == {("ines", word.reason)}
    assert len(files(house)) == len(later) - len(rows)
    assert disposal.go_on(house.store, house.clock()).records == 0


def test_a_file_that_cannot_be_taken_away_keeps_no_other_one_and_goes_with_the_next_call(
    house: House, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    rows, remove = two_sealed(house), house.store.records.files.remove
    stuck = rows[0]["sha256"]

    def refuse(files: HashedFiles, digest: str) -> None:
        if digest == stuck:
            raise PermissionError(13, "Permission denied", str(files.path(digest)))
        remove(digest)

    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", "four plain words here")
    monkeypatch.setattr("webapp.commands.dispose.utc_now", lambda: house.clock() + timedelta(days=800))
    Path(house.folder / "keys").mkdir(exist_ok=True)
    house.keyring.save(house.folder / "keys", "four plain words here")
    call = [
        "dispose",
        "--data-folder",
        str(house.folder),
        "--older-than",
        "2",
        "--by",
        "ines",
        "--reason",
        "x",
    ]
    with monkeypatch.context() as patched:
        patched.setattr(HashedFiles, "remove", refuse)
        assert main(call) == 1
    said = capsys.readouterr().err
    assert "could not be taken away: 1." in said, said
    assert stuck in said
    assert "again" in said
    assert files(house) == [stuck]
    assert main(call) == 0
    assert files(house) == []
    assert audit(house.store) == []
