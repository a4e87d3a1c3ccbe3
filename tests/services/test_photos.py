"""Pictures are kept for signed events alone, once, as pixels alone; and go and are looked at with theirs."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from tests.kit.house import House
from tests.kit.pictures import jpeg, tagged_jpeg
from tests.kit.taking_photos import finish, sent, signed_off, taken, to_photo
from tests.services.test_handing_out import CHECKER, RENDERER, by_line, handed, sealing, summed
from webapp.domain.plain.errors import Finding
from webapp.record.pictures import made_again
from webapp.services.audit import auditing, disposal
from webapp.services.audit.auditing import audit
from webapp.services.audit.handing_out import Asked
from webapp.services.decisions import signing_off
from webapp.services.decisions.errors import SetupChanged
from webapp.services.errors import NoSuchPhoto, RecordDisposed
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.evidence.photo_entries import KEPT, REFUSED
from webapp.services.intake import pictures
from webapp.services.intake.errors import PhotoEventNotHere, PhotoOfOtherBytes
from webapp.services.setups import photos, recording, stored_setups
from webapp.store.errors import DatabaseLocked
from webapp.words import say


def begun(house: House, data: bytes | None = None) -> tuple[Any, str]:
    """A setup that stands at the step with the picture, sent with its event."""
    walk = to_photo(house.walk().start())
    event = taken(walk, data)
    house.accept(walk.parts)
    return walk, event


def files(house: House) -> list[str]:
    return sorted(path.name for path in house.store.photos.folder.glob("*/*"))


def entries(house: House, kind: str) -> list[dict[str, Any]]:
    with house.store.reading():
        return [json.loads(row["text"]) for row in house.store.ledger.changes(kind=kind, newest=None)]


def photo_of(house: House, setup: str) -> Any:
    with house.store.reading():
        return stored_setups.fold_stored(house.store, setup)["photos"][0]


def test_a_picture_is_kept_made_again_and_both_hashes_stand_on_the_ledger(house: House) -> None:
    walk, event = begun(house)
    assert photo_of(house, walk.setup)["picture"] is None
    assert sent(house, event) == {"event": event, "outcome": "kept", "code": None, "fields": {}}
    shown = photos.picture(house.store, walk.setup, event)
    assert Image.open(io.BytesIO(shown)).format == "JPEG"
    kept = sha256(shown).hexdigest()
    assert files(house) == [kept]
    assert kept != sha256(jpeg()).hexdigest()
    (entry,) = entries(house, KEPT)
    assert entry["setup"] == walk.setup
    assert entry["data"] == {
        "event": event, "sent_sha256": sha256(jpeg()).hexdigest(), "sha256": kept, "bytes": len(shown),
        "width": 640, "height": 480,
    }  # fmt: skip
    assert photo_of(house, walk.setup)["picture"]["sha256"] == kept
    assert audit(house.store) == []


def test_a_picture_that_comes_twice_is_kept_once(house: House) -> None:
    _, event = begun(house)
    assert sent(house, event) == sent(house, event)
    assert len(entries(house, KEPT)) == len(files(house)) == 1


def test_a_picture_that_comes_twice_at_once_is_noted_once(house: House) -> None:
    _, event = begun(house)

    def slower(data: bytes, width: int, height: int) -> bytes | Finding:
        sent(house, event)
        return made_again(data, width, height)

    told = pictures.take_picture(house.store, event, jpeg(), slower, house.clock())
    assert told["outcome"] == "kept"
    assert len(entries(house, KEPT)) == len(files(house)) == 1


def test_what_a_camera_writes_beside_the_pixels_is_not_kept(house: House) -> None:
    walk, event = begun(house, tagged_jpeg())
    assert sent(house, event, tagged_jpeg())["outcome"] == "kept"
    shown = photos.picture(house.store, walk.setup, event)
    assert b"Exif" not in shown
    assert not Image.open(io.BytesIO(shown)).getexif()
    everything = b"".join(path.read_bytes() for path in house.store.photos.folder.glob("*/*"))
    assert b"Somebody's camera" not in everything


def test_bytes_that_no_stored_event_names_are_not_taken(house: House) -> None:
    walk, event = begun(house)
    for data in (jpeg() + b" ", jpeg()[:-1], b""):
        with pytest.raises(PhotoOfOtherBytes):
            sent(house, event, data)
        assert not pictures.is_named(house.store, event, data)
    assert pictures.is_named(house.store, event, jpeg())
    started = next(one["id"] for one in walk.events if one["type"] == "setup.started")
    for unknown in ("0" * 64, started, "..", ""):
        with pytest.raises(PhotoEventNotHere):
            sent(house, unknown)
    assert files(house) == entries(house, KEPT) == []


def test_a_picture_before_its_event_waits_for_it(house: House) -> None:
    walk = to_photo(house.walk().start())
    event = taken(walk)
    with pytest.raises(PhotoEventNotHere):
        sent(house, event)
    house.accept(walk.parts)
    assert sent(house, event)["outcome"] == "kept"


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"\x89PNG\r\n\x1a\n and no picture", "picture.not_jpeg"),
        (jpeg((64, 64)), "picture.other_size"),
        (jpeg()[:900], "picture.broken"),
    ],
)
def test_a_picture_that_is_none_is_refused_for_good_and_its_event_stays(
    house: House, data: bytes, code: str
) -> None:
    walk, event = begun(house, data)
    told = sent(house, event, data)
    assert (told["outcome"], told["code"]) == ("refused", code)
    assert say(code, told["fields"])
    assert sent(house, event, data) == told
    assert files(house) == []
    (entry,) = entries(house, REFUSED)
    assert entry["data"]["sent_sha256"] == sha256(data).hexdigest()
    assert photo_of(house, walk.setup)["picture"]["code"] == code
    with pytest.raises(NoSuchPhoto):
        photos.picture(house.store, walk.setup, event)
    assert audit(house.store) == []


def test_a_picture_of_an_event_that_does_not_count_is_refused_without_a_trace(house: House) -> None:
    walk = house.walk().start()
    event = taken(walk)  # at the first caution, which offers none
    house.accept(walk.parts)
    told = sent(house, event)
    assert (told["outcome"], told["code"]) == ("refused", "services.photo_not_counted")
    assert files(house) == entries(house, KEPT) == entries(house, REFUSED) == []


def test_where_no_process_could_look_nothing_is_said_of_the_picture(house: House) -> None:
    _, event = begun(house)

    def cannot(*_: object) -> bytes | Finding:
        raise OSError("no process")

    with pytest.raises(OSError, match="no process"):
        pictures.take_picture(house.store, event, jpeg(), cannot, house.clock())
    assert entries(house, KEPT) == entries(house, REFUSED) == []
    assert sent(house, event)["outcome"] == "kept"


def test_a_ledger_that_cannot_be_written_leaves_no_file(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, event = begun(house)

    def full(*_: object, **__: object) -> int:
        raise OSError("full")

    monkeypatch.setattr(house.store.ledger, "append_change", full)
    with pytest.raises(OSError, match="full"):
        sent(house, event)
    assert files(house) == []


def test_a_picture_that_another_call_kept_meanwhile_stays_where_this_one_could_not_write(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk, event = begun(house)
    writing = house.store.writing

    def waited_in_vain() -> Any:
        monkeypatch.setattr(house.store, "writing", writing)
        assert sent(house, event)["outcome"] == "kept"
        raise DatabaseLocked(seconds=5)

    monkeypatch.setattr(house.store, "writing", waited_in_vain)
    with pytest.raises(DatabaseLocked):
        sent(house, event)
    assert photos.picture(house.store, walk.setup, event)
    assert audit(house.store) == []


def test_a_picture_is_there_where_another_call_took_its_file_away_before_it_was_noted(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk, event = begun(house)
    writing = house.store.writing

    def waited_while_another_gave_up() -> Any:
        for digest in files(house):
            house.store.photos.remove(digest)
        return writing()

    monkeypatch.setattr(house.store, "writing", waited_while_another_gave_up)
    assert sent(house, event)["outcome"] == "kept"
    assert photos.picture(house.store, walk.setup, event)


def test_a_picture_that_comes_before_the_decision_is_part_of_what_is_read(house: House) -> None:
    walk = to_photo(house.walk().start())
    event = taken(walk)
    walk.until("sign")
    finish(house, walk)
    seen = house.seen(walk.setup)
    sent(house, event)
    with pytest.raises(SetupChanged):
        signing_off.sign_off(
            house.store, walk.setup, "ines", house_passphrase(), "", house.clock(), seen=seen
        )
    house.sign_off(walk.setup)


def house_passphrase() -> str:
    from tests.kit.shop import PASSPHRASES  # noqa: PLC0415

    return PASSPHRASES["ines"]


def test_a_picture_that_comes_after_the_sign_off_is_kept_and_changes_nothing_else(house: House) -> None:
    walk = to_photo(house.walk().start())
    event = taken(walk)
    walk.until("sign")
    finish(house, walk)
    house.sign_off(walk.setup)
    assert sent(house, event)["outcome"] == "kept"
    with house.store.reading():
        row = house.store.setups.setup(walk.setup)
        assert row is not None
        assert row["status"] == "signed_off"
        state = stored_setups.fold_stored(house.store, walk.setup)
    assert state["problems"] == []
    assert audit(house.store) == []


def test_a_picture_that_is_gone_or_another_is_a_fault_of_a_whole_audit_and_of_one_of_what_came(
    house: House,
) -> None:
    auditing.run(house.store, house.clock())
    walk, event = begun(house)
    sent(house, event)
    path = next(iter(house.store.photos.folder.glob("*/*")))
    data = path.read_bytes()
    for spoil in (lambda: path.write_bytes(data[:-1] + b"x"), path.unlink):
        spoil()
        house.clock.forward(minutes=1)
        (fault,) = audit(house.store)
        assert (fault.code, fault.record) == ("audit.photo_file", f"photo {path.name} of setup {walk.setup}")
        path.parent.mkdir(exist_ok=True)
    outcome = auditing.run(house.store, house.clock(), only_new=True)
    assert [one.code for one in outcome.faults] == ["audit.photo_file"]
    assert say("audit.photo_file")


def test_the_pictures_of_a_disposed_record_go_with_it_and_others_stay(house: House) -> None:
    old, event = signed_off(house)
    seal_row(house, old.setup)
    other = to_photo(house.walk("tomas").start())
    same = taken(other)
    house.accept(other.parts)
    house.clock.forward(days=400)
    assert dispose(house) == 1
    assert files(house) == []
    assert audit(house.store) == []
    with pytest.raises(RecordDisposed):
        photos.picture(house.store, old.setup, event)
    assert sent(house, same)["outcome"] == "kept"  # the same pixels, of a setup that is kept
    assert disposal.sweep(house.store) == []
    assert len(files(house)) == 1
    assert audit(house.store) == []


def seal(house: House, setup: str) -> None:
    """A sealed record of one line that carries the record's own files."""
    ring, now = house.keyring, house.clock()
    recording.sealed_pdf(house.store, setup, by_line, sealing(house), ring.head_signer, now, RENDERER)


def checked(given: dict[str, bytes], folder: Path) -> subprocess.CompletedProcess[str]:
    """What the program in the bundle says of it."""
    path = folder / "bundle.zip"
    with zipfile.ZipFile(path, "w") as bundle:
        for name, data in given.items():
            bundle.writestr(name, data)
    return subprocess.run(
        [sys.executable, str(CHECKER), str(path)], capture_output=True, text=True, check=False
    )


def seal_row(house: House, setup: str) -> None:
    """A record as far as disposal looks at it."""
    digest = house.store.records.files.write(b"%PDF-")
    with house.store.writing():
        house.store.records.add(setup, digest, 5, house.clock.text)
        said = {"sha256": digest, "bytes": 5}
        change(house.store, "record.sealed", SERVER, setup, setup, said, house.clock())


def dispose(house: House) -> int:
    now = house.clock()
    found = disposal.older_than(house.store, 1, now)
    return disposal.dispose(house.store, found, disposal.Asked("A year is over.", "ines", now)).records


def test_nothing_of_a_picture_lies_outside_its_folder(house: House, tmp_path: Path) -> None:
    _, event = begun(house)
    sent(house, event)
    found = [
        path for path in tmp_path.rglob("*") if path.is_file() and path.read_bytes()[:3] == b"\xff\xd8\xff"
    ]
    assert [path.parent.parent.name for path in found] == ["photos"]


def test_a_bundle_carries_the_pictures_and_its_checker_finds_another_one(
    house: House, tmp_path: Path
) -> None:
    walk, event = signed_off(house)
    seal(house, walk.setup)
    late = to_photo(house.walk("tomas").start())
    missing = taken(late)
    house.accept(late.parts)
    given = handed(house, Asked(since_utc="2000"))
    name = f"setups/{walk.setup}/photo-{files(house)[0]}.jpg"
    assert given[name] == photos.picture(house.store, walk.setup, event)
    (line,) = map(json.loads, given[f"setups/{walk.setup}/photos.jsonl"].splitlines())
    assert line["new"]["sent_sha256"] == sha256(jpeg()).hexdigest()
    assert not [one for one in given if late.setup in one and "photo" in one]
    assert missing in {entry["id"] for entry in late.events}
    assert checked(given, tmp_path).returncode == 0
    other = made_again(jpeg((640, 480), progressive=True)[:], 640, 480)
    assert isinstance(other, bytes)
    forged = {**given, name: other[:-2] + b"\x00\xff\xd9"}
    said = checked(summed(forged), tmp_path)
    assert (said.returncode, "a picture is another one" in said.stdout) == (1, True)
    without = {one: data for one, data in given.items() if not one.endswith("photos.jsonl")}
    assert checked(summed(without), tmp_path).returncode == 1
    entry = f"setups/{walk.setup}/photos.jsonl"
    told = given[entry].replace(files(house)[0].encode(), sha256(forged[name]).hexdigest().encode())
    said = checked(summed({**forged, entry: told}), tmp_path)
    assert (said.returncode, "is not in the ledger" in said.stdout) == (1, True)
