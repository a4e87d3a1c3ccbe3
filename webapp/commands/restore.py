"""`zerokeep restore`: bring a backup back into a folder that is not there yet; and the drill, which only
tries it.

Rules: everything is unpacked beside its place and looked at there: the list and its signature, each file, the
keys, the database, the ledger's root, and all that the audit looks at. Only then does it get its name. A
folder that is there is never written into. A restore opens a new epoch by a signed statement on the ledger,
which tablets are shown.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from webapp.chance import new_token
from webapp.clocks import utc_now
from webapp.commands.backup import DATABASE
from webapp.proof import backup_file
from webapp.proof.backup_file import BackupKey, Manifest
from webapp.proof.errors import BackupRefused
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.audit import auditing
from webapp.services.evidence import epochs, ledger, safekeeping
from webapp.services.evidence.ledger_walk import Fault
from webapp.settings import Settings
from webapp.shop_folder import open_keyring
from webapp.store import Store
from webapp.store.files import flush_folder
from webapp.words import say

DONE, REFUSED = 0, 1
SPARE_BYTES = 64 * 1024 * 1024
BEGINS = b"age-encryption.org/v1"  # the first line of any age file


@dataclass(frozen=True)
class Unpacked:
    """A backup that was unpacked and looked at: where, what it says of itself, what the audit found."""

    settings: Settings
    manifest: Manifest
    faults: list[Fault]


def restore(settings: Settings, path: Path, key: Path, reason: str, *, with_faults: bool) -> int:
    """Bring the backup back into the data folder, which must not be there. 1 where it was refused."""
    folder = settings.data_folder
    if not reason.strip():
        print("Say with --reason why the backup is brought back, in words.", file=sys.stderr)
        return REFUSED
    if folder.exists() and any(folder.iterdir()):
        print(
            f"{folder} is there and holds something. Nothing of it was touched. Move it away, and keep it: "
            "it is evidence. Or give another folder with --data-folder.",
            file=sys.stderr,
        )
        return REFUSED
    folder.parent.mkdir(parents=True, exist_ok=True)
    with unpacked(settings, path, key, folder.parent) as found:
        _say_faults(found)
        if found.faults and not with_faults:
            print(
                "Nothing was brought back. Try an earlier backup; or take this one as it is: --with-faults.",
                file=sys.stderr,
            )
            return REFUSED
        _open_epoch(found, reason.strip())
        if folder.exists():
            folder.rmdir()
        found.settings.data_folder.rename(folder)
        flush_folder(folder.parent)
    print(f"Brought back into {folder}: the ledger with {found.manifest.size} entries, as it was at "
          f"{found.manifest.made_at_utc}.")  # fmt: skip
    for name, place in _named_elsewhere(settings):
        print(f"{name} names {place}, and nothing was put there: all lies in {folder}. Put it there, or "
              "leave the setting out, before the server starts.")  # fmt: skip
    print("Start the server. Tablets are told, and send again what this backup lacks and they still hold.")
    print("Tablets, people and decisions that came after the backup are not in it: look what is missing.")
    return DONE


def _named_elsewhere(settings: Settings) -> list[tuple[str, str]]:
    """Settings that name another place for a part of the shop than its data folder."""
    named = {
        "ZEROKEEP_DATABASE": "another database" if settings.database_named else None,
        "ZEROKEEP_FILES_FOLDER": settings.files_folder_named,
        "ZEROKEEP_KEYS_FOLDER": settings.keys_folder_named,
    }
    return [(name, str(place)) for name, place in named.items() if place is not None]


def drill(settings: Settings, path: Path, key: Path, *, as_json: bool) -> int:
    """Do all that a restore does, in a folder that goes away again; note it on the ledger of its shop."""
    with unpacked(settings, path, key, None) as found:
        _open_epoch(found, "drill")
        said: dict[str, str | int] = {
            "made_at_utc": found.manifest.made_at_utc,
            "size": found.manifest.size,
            "root": found.manifest.root,
            "files": len(found.manifest.files),
            "faults": len(found.faults),
        }
    if not as_json:
        _say_faults(found)
    is_ours = not found.faults and _note_of_own(settings, found.manifest, said)
    if as_json:
        print(json.dumps(said))
    elif not found.faults:
        print(f"This backup can be brought back: {said['files']} files, the ledger with {said['size']} "
              f"entries, as it was at {said['made_at_utc']}.")  # fmt: skip
        if not is_ours:
            where = settings.data_folder
            print(f"It is no backup of the shop in {where} as it is now: nothing was noted there.")
    return REFUSED if found.faults else DONE


def _note_of_own(settings: Settings, manifest: Manifest, said: dict[str, str | int]) -> bool:
    """Note on the ledger that a backup of it was tried; whether it was one: the ledger has its head."""
    if not Store.is_at(settings.database):
        return False
    store = Store.open(settings.database, settings.files_folder)
    try:
        with store.reading():
            is_ours = ledger.has_head(store, manifest.size, manifest.root)
        if is_ours:
            safekeeping.note(store, safekeeping.TRIED, said, utc_now())
    finally:
        store.close()
    return is_ours


@contextmanager
def unpacked(settings: Settings, path: Path, key: Path, beside: Path | None) -> Iterator[Unpacked]:
    """The backup unpacked into a folder of its own (beside that one, else where temporary files lie) and
    looked at.

    What is left of the folder goes when the block ends. Raises BackupRefused and what opening a shop raises.
    """
    aside = Path(tempfile.mkdtemp(prefix=".restoring-", dir=beside))
    inside = replace(
        settings, data_folder=aside, database_named=None, files_folder_named=None, keys_folder_named=None
    )
    try:
        manifest = _unpack(path, _read_key(key), aside)
        yield Unpacked(inside, manifest, _looked_at(inside, manifest))
    finally:
        shutil.rmtree(aside, ignore_errors=True)


def _read_key(path: Path) -> BackupKey:
    try:
        return BackupKey.read(path.read_text(encoding="utf-8", errors="replace"))
    except OSError as error:
        raise BackupRefused("backup.not_read", path=str(path), why=error.strerror or "") from error


def _unpack(path: Path, key: BackupKey, folder: Path) -> Manifest:
    room = shutil.disk_usage(folder).free - SPARE_BYTES
    try:
        with path.open("rb") as source:
            if source.read(len(BEGINS)) != BEGINS:
                raise BackupRefused("backup.no_backup", path=str(path))
            source.seek(0)
            return backup_file.unpack(source, key, folder, room)
    except OSError as error:
        raise BackupRefused("backup.not_read", path=str(path), why=error.strerror or str(error)) from error


def _looked_at(settings: Settings, manifest: Manifest) -> list[Fault]:
    """What does not fit in the unpacked shop. Raises where it is no shop, or its keys do not open."""
    if DATABASE not in manifest.files:
        raise BackupRefused("backup.file_differs", name=DATABASE)
    open_keyring(settings, utc_now, new_token)
    store = Store.open(settings.database, settings.files_folder)
    try:
        with store.reading():
            now = ledger.head(store)
        if (now["size"], now["root"]) != (manifest.size, manifest.root):
            raise BackupRefused("backup.other_head", size=manifest.size)
        return auditing.audit(store)
    finally:
        store.close()


def _open_epoch(found: Unpacked, reason: str) -> None:
    keyring: KeyRing = open_keyring(found.settings, utc_now, new_token)
    store = Store.open(found.settings.database, found.settings.files_folder)
    said: dict[str, str | int] = {
        "made_at_utc": found.manifest.made_at_utc,
        "size": found.manifest.size,
        "root": found.manifest.root,
    }
    try:
        epochs.open_epoch(store, keyring, reason, utc_now(), said)
    finally:
        store.close()


def _say_faults(found: Unpacked) -> None:
    for fault in found.faults[:100]:
        print(f"  {say(fault.code)}: {fault.record}")
    if found.faults:
        print(f"{len(found.faults)} in this backup do not fit.")
