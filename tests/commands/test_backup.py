"""`zerokeep backup` and `restore`: all comes back or nothing does, others' programs open it, and nobody
forges it.
"""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import tarfile
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path

import pyrage
import pytest

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from tests.services import test_recording
from webapp.cli import main
from webapp.commands import backup as making
from webapp.data_folder import COPY_PREFIX
from webapp.proof import backup_file
from webapp.proof.errors import BackupRefused
from webapp.services.audit import auditing, disposal
from webapp.services.audit.auditing import audit
from webapp.services.evidence import epochs, safekeeping
from webapp.settings import Settings
from webapp.store import Store

PASSPHRASE = "four plain words here"


@pytest.fixture
def house(furnished_with_keys: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", PASSPHRASE)
    shutil.copytree(furnished_with_keys, tmp_path / "shop")
    return House(tmp_path / "shop", fixed_keyring(tmp_path / "same", Clock()), loaded=True)


@pytest.fixture(scope="session")
def furnished_with_keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop with its keys, one setup, a sealed file and a picture."""
    folder = tmp_path_factory.mktemp("with-keys") / "shop"
    folder.mkdir()
    house = House(folder, fixed_keyring(folder / "keys", Clock()))
    house.signed()
    house.store.records.files.write(b"%PDF-1.7 a sealed record")
    house.store.photos.write(b"\xff\xd8\xff a picture")
    house.store.close()
    folder.chmod(0o700)
    return folder


@pytest.fixture
def run(house: House, capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    house.store.close()

    def run(*arguments: object, status: int = 0, folder: Path | None = None) -> str:
        capsys.readouterr()
        found = main([*map(str, arguments), "--data-folder", str(folder or house.folder)])
        said = capsys.readouterr()
        assert found == status, said
        return said.out + said.err

    return run


@pytest.fixture
def made(run: Callable[..., str], tmp_path: Path) -> tuple[Path, Path]:
    """A backup and its key."""
    run("backup", "--new-key", tmp_path / "owner.key")
    run("backup", tmp_path / "night.age")
    return tmp_path / "night.age", tmp_path / "owner.key"


def files(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_all_of_a_shop_comes_back_and_says_so(
    house: House, run: Callable[..., str], made: tuple[Path, Path], tmp_path: Path
) -> None:
    backup, key = made
    back = tmp_path / "elsewhere" / "shop"
    said = run("restore", backup, "--key", key, "--reason", "The disk failed.", folder=back)
    assert "Brought back" in said
    before, after = files(house.folder), files(back)
    changed = {"zerokeep.db", "ledger-head.json"}
    assert {name: after.get(name) for name in before.keys() - changed} == {
        name: before[name] for name in before.keys() - changed
    }
    assert (back.stat().st_mode & 0o777, (back / "zerokeep.db").stat().st_mode & 0o777) == (0o700, 0o600)
    store = Store.open(back / "zerokeep.db")
    assert audit(store) == []
    with store.reading():
        (row,) = store.ledger.changes(kind="ledger.restored")
        statement = epochs.current(store)
    data = json.loads(row["text"])["data"]
    assert (data["statement"], data["reason"]) == (statement, "The disk failed.")
    assert data["backup"]["size"] == row["position"]
    # The shop goes on: keys open, and what a tablet sends is taken.
    again = House(back, house.keyring, loaded=True)
    assert {one["outcome"] for one in again.accept(again.walk().start().parts)} == {"accepted"}
    assert [path.name for path in back.parent.iterdir()] == ["shop"]


@pytest.mark.parametrize("inside", [False, True], ids=["outside of the data folder", "inside of it"])
def test_what_lies_in_folders_of_its_own_comes_back_too_and_nothing_is_written_there(
    house: House, run: Callable[..., str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, inside: bool
) -> None:
    """Files and keys may lie elsewhere: a backup without them would open nothing, and hold no record."""
    files_folder, keys = ((house.folder if inside else tmp_path) / name for name in ("beside", "locked-away"))
    files_folder.mkdir()
    for name in ("records", "photos"):
        (house.folder / name).rename(files_folder / name)
    (house.folder / "keys").rename(keys)
    monkeypatch.setenv("ZEROKEEP_FILES_FOLDER", str(files_folder))
    monkeypatch.setenv("ZEROKEEP_KEYS_FOLDER", str(keys))
    run("audit")
    before = files(files_folder) | files(keys)
    assert "ledger-head.json" in before
    key, made = tmp_path / "owner.key", tmp_path / "night.age"
    run("backup", "--new-key", key)
    run("backup", made)
    assert "can be brought back" in run("backup", "--drill", made, "--key", key)
    back = tmp_path / "elsewhere" / "shop"
    said = run("restore", made, "--key", key, "--reason", "The disk failed.", folder=back)
    assert f"ZEROKEEP_FILES_FOLDER names {files_folder}, and nothing was put there" in said
    assert files(files_folder) | files(keys) == before, "a restore or a drill never touches what is in use"
    for name in ("ZEROKEEP_FILES_FOLDER", "ZEROKEEP_KEYS_FOLDER"):
        monkeypatch.delenv(name)
    got = files(back)
    kept = before.keys() - {"ledger-head.json", "keys.json"}
    assert len(kept) == 2
    assert {name: got.get(name) for name in kept} == {name: before[name] for name in kept}
    assert got["keys/keys.json"] == before["keys.json"]
    run("audit", folder=back)
    run("backup", tmp_path / "next.age", folder=back)
    assert not [name for name in got if "beside" in name or "locked-away" in name]


@pytest.mark.parametrize("listed_first", [False, True])
def test_a_backup_that_records_were_disposed_of_beside_is_refused_and_the_next_one_comes_back(
    house: House,
    run: Callable[..., str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    listed_first: bool,
) -> None:
    with house.store.reading():
        (setup,) = house.store.setups.setups()
    house.clock.forward(hours=1)
    house.sign_off(setup["id"])
    test_recording.sealed(house, setup["id"])
    members = making._members

    def beside(settings: Settings, database: Path) -> Iterator[tuple[str, Path]]:
        found = list(members(settings, database)) if listed_first else None
        with house.store.reading():
            rows = list(house.store.records.all_records())
        disposal.dispose(house.store, rows, disposal.Asked("Ten years are over.", "ines", house.clock()))
        yield from found or members(settings, database)

    run("backup", "--new-key", tmp_path / "owner.key")
    with monkeypatch.context() as patched:
        patched.setattr(making, "_members", beside)
        assert "Make it again" in run("backup", tmp_path / "night.age", status=1)
    assert [path.name for path in tmp_path.glob("*night*")] == []
    run("backup", tmp_path / "night.age")
    run("backup", "--drill", tmp_path / "night.age", "--key", tmp_path / "owner.key")


def test_a_program_of_others_opens_it(made: tuple[Path, Path]) -> None:
    """age 1.1 of Debian, https://age-encryption.org/v1."""
    backup, key = made
    opened = subprocess.run(
        ["age", "--decrypt", "--identity", str(key), str(backup)], capture_output=True, check=True
    )
    with tarfile.open(fileobj=io.BytesIO(opened.stdout)) as tar:
        names = tar.getnames()
        manifest = json.load(tar.extractfile("manifest.json"))  # type: ignore[arg-type]
        for name, (size, digest) in manifest["files"].items():
            data = tar.extractfile(name).read()  # type: ignore[union-attr]
            assert (len(data), sha256(data).hexdigest()) == (size, digest)
    assert set(names) == {*manifest["files"], "manifest.json", "manifest.jws"}
    assert {"zerokeep.db", "keys/keys.json"} <= set(names)


def test_no_flipped_byte_and_no_missing_end_is_taken_and_nothing_is_left_behind(
    run: Callable[..., str], made: tuple[Path, Path], tmp_path: Path
) -> None:
    backup, key = made
    whole = backup.read_bytes()
    back = tmp_path / "back" / "shop"
    places = (30, 120, 190, 250, 70_000, len(whole) // 2, len(whole) - 1)
    altered = [whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :] for place in places]
    for data in (*altered, whole[:-1], whole[: len(whole) // 2], whole[:-65_552], whole + b"x", b"", b"x"):
        backup.write_bytes(data)
        assert "backup" in run("restore", backup, "--key", key, "--reason", "x", status=1, folder=back)
        assert list(back.parent.iterdir()) == []


def test_a_folder_that_is_there_is_never_written_into(
    house: House, run: Callable[..., str], made: tuple[Path, Path]
) -> None:
    before = files(house.folder)
    assert "Nothing of it was touched" in run("restore", made[0], "--key", made[1], "--reason", "x", status=1)
    assert files(house.folder) == before
    assert "is there already" in run("backup", made[0], status=1)


def test_only_the_shop_of_the_key_file_makes_such_a_backup(
    house: House, made: tuple[Path, Path], tmp_path: Path, run: Callable[..., str]
) -> None:
    """Whoever learns the public half can encrypt to it; the list is signed by the server."""
    recipient = (house.folder / "backup-recipient").read_text().strip()
    forged, other = tmp_path / "forged.age", fixed_keyring(tmp_path / "others", Clock())
    said = {"made_at_utc": "2026-11-25T08:00:00.000Z", "shop": "x", "head": {"size": 0, "root": "00" * 32}}
    with forged.open("wb") as out:
        members = [("zerokeep.db", house.folder / "zerokeep.db")]
        backup_file.write(out, members, said, recipient, other.seal_key, [])
    refused = run("restore", forged, "--key", made[1], "--reason", "x", status=1, folder=tmp_path / "n")
    assert "was not made by the shop" in refused
    identity = pyrage.x25519.Identity.generate()
    text = made[1].read_text()
    made[1].write_text(text.replace(backup_file.BackupKey.read(text).secret, str(identity)))
    assert "does not open this backup" in run(
        "restore", made[0], "--key", made[1], "--reason", "x", status=1, folder=tmp_path / "n"
    )


@pytest.mark.usefixtures("made")
def test_a_public_key_that_somebody_put_in_the_owners_place_gets_no_backup(
    house: House, tmp_path: Path, run: Callable[..., str]
) -> None:
    """Its other half would open every later backup, and the owner's none: the ledger says whose it was."""
    file, thief = house.folder / "backup-recipient", pyrage.x25519.Identity.generate()
    owners = file.read_text()
    for text in (f"{thief.to_public()}\n", "", "\u00e9"):
        file.write_text(text, encoding="utf-8")
        assert "does not hold the public key" in run("backup", tmp_path / "stolen.age", status=1)
        assert [path.name for path in tmp_path.glob("*stolen*")] == []
    file.write_text(owners)
    run("backup", tmp_path / "again.age")
    run("backup", "--new-key", tmp_path / "next.key")
    run("backup", tmp_path / "next.age")
    assert "can be brought back" in run(
        "backup", "--drill", tmp_path / "next.age", "--key", tmp_path / "next.key"
    )


@pytest.mark.parametrize(
    "name",
    ["../escaped", "/etc/escaped", "a/../../b", ".hidden", "a//b", "zerokeep.db", "x\ny", "a/b/c/d/e"],
)
def test_no_member_leaves_the_folder_or_takes_another_ones_place(name: str, tmp_path: Path) -> None:
    key, recipient = backup_file.new_key("nobody")
    plain = io.BytesIO()
    with tarfile.open(fileobj=plain, mode="w") as tar:
        for member in ("zerokeep.db", name):
            info = tarfile.TarInfo(member)
            info.size = 1
            tar.addfile(info, io.BytesIO(b"x"))
    sealed = pyrage.encrypt(plain.getvalue(), [pyrage.x25519.Recipient.from_str(recipient)])
    (tmp_path / "into").mkdir()
    with pytest.raises(BackupRefused):
        backup_file.unpack(io.BytesIO(sealed), key, tmp_path / "into", 10_000)
    assert [path.name for path in tmp_path.iterdir()] == ["into"]
    assert {path.name for path in (tmp_path / "into").rglob("*")} <= {"zerokeep.db"}


@pytest.mark.parametrize(
    "kind", [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.CHRTYPE, tarfile.DIRTYPE, tarfile.FIFOTYPE]
)
def test_no_link_and_no_device_is_unpacked(kind: bytes, tmp_path: Path) -> None:
    key, recipient = backup_file.new_key("nobody")
    plain = io.BytesIO()
    with tarfile.open(fileobj=plain, mode="w") as tar:
        info = tarfile.TarInfo("link")
        info.type, info.linkname = kind, "/etc/passwd"
        tar.addfile(info)
    sealed = pyrage.encrypt(plain.getvalue(), [pyrage.x25519.Recipient.from_str(recipient)])
    with pytest.raises(BackupRefused, match="link"):
        backup_file.unpack(io.BytesIO(sealed), key, tmp_path, 10_000)
    assert list(tmp_path.iterdir()) == []


def test_more_than_there_is_room_for_is_refused(made: tuple[Path, Path], tmp_path: Path) -> None:
    (tmp_path / "into").mkdir()
    key = backup_file.BackupKey.read(made[1].read_text())
    with made[0].open("rb") as source, pytest.raises(BackupRefused, match="no room"):
        backup_file.unpack(source, key, tmp_path / "into", 1_000)


def test_copies_of_a_killed_process_go_and_those_of_a_running_one_stay(
    house: House, run: Callable[..., str], tmp_path: Path
) -> None:
    ended = subprocess.Popen(["true"])
    ended.wait()
    killed = house.folder / f"{COPY_PREFIX}{ended.pid}-x.db"
    running = house.folder / f"{COPY_PREFIX}{os.getpid()}-x.db"
    for left in (killed, running):
        left.write_bytes(b"")
    run("backup", "--new-key", tmp_path / "owner.key")
    run("backup", tmp_path / "night.age")
    assert [path.name for path in house.folder.glob(f"{COPY_PREFIX}*")] == [running.name]


def test_a_drill_tries_all_of_it_and_leaves_a_note_and_nothing_else(
    house: House, run: Callable[..., str], made: tuple[Path, Path], tmp_path: Path
) -> None:
    before = {path.name for path in tmp_path.iterdir()}
    assert "can be brought back" in run("backup", "--drill", made[0], "--key", made[1])
    assert {path.name for path in tmp_path.iterdir()} == before
    with house.store.reading():
        (row,) = house.store.ledger.changes(kind=safekeeping.TRIED)
    assert json.loads(row["text"])["data"]["faults"] == 0
    assert "--key" in run("backup", "--drill", made[0], status=2)
    (tmp_path / "other").mkdir()
    other = House(tmp_path / "other", house.keyring)
    other.store.close()
    assert "is no backup of the shop" in run(
        "backup", "--drill", made[0], "--key", made[1], folder=other.folder
    )
    with other.store.reading():
        assert other.store.ledger.changes(kind=safekeeping.TRIED) == []
    assert "is no backup" in run("backup", "--drill", made[1], "--key", made[1], status=1)


def test_a_lead_is_reminded_of_an_old_one_and_of_one_that_was_never_tried(house: House) -> None:
    def code() -> str | None:
        found = safekeeping.reminder(house.store, house.clock())
        return found and found.code

    assert code() is None  # nothing was sealed yet
    safekeeping.note(house.store, safekeeping.SEALED, {}, house.clock())
    assert code() == "backup.never_made"
    safekeeping.note(house.store, safekeeping.MADE, {}, house.clock())
    assert code() == "backup.untried"
    safekeeping.note(house.store, safekeeping.TRIED, {}, house.clock())
    assert code() is None
    house.clock.forward(days=8)
    assert code() == "backup.old"
    safekeeping.note(house.store, safekeeping.MADE, {}, house.clock())
    assert code() is None
    house.clock.forward(days=93)
    safekeeping.note(house.store, safekeeping.MADE, {}, house.clock())
    assert code() == "backup.untried"


def test_a_head_that_is_kept_while_a_backup_is_made_keeps_nobody_from_bringing_it_back(
    house: House, run: Callable[..., str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A record sealed or an audit done behind the copy of the database keeps a head that the copy lacks."""
    members = making._members

    def beside(settings: Settings, database: Path) -> Iterator[tuple[str, Path]]:
        auditing.run(house.store, house.clock())
        yield from members(settings, database)

    auditing.run(house.store, house.clock())
    run("backup", "--new-key", tmp_path / "owner.key")
    with monkeypatch.context() as patched:
        patched.setattr(making, "_members", beside)
        run("backup", tmp_path / "night.age")
    back = tmp_path / "back" / "shop"
    run("restore", tmp_path / "night.age", "--key", tmp_path / "owner.key", "--reason", "x", folder=back)
    store = Store.open(back / "zerokeep.db")
    assert audit(store) == []
    store.close()
