"""`zerokeep backup`: everything of a shop in one encrypted file, while the server runs; its key; and the
drill.

Rules: the database is copied whole into a file, then keys and files go in, wherever the settings have them,
and every other file of the data folder, unknown ones too: what is left out is named below with its reason.
The file is written under another name and gets its own when it is whole. The server holds the public half of
the backup key, so that it can make backups by night and opens none.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from hashlib import file_digest
from pathlib import Path
from typing import IO

from webapp.clocks import utc_now
from webapp.commands.opening import has_shop, opened
from webapp.data_folder import COPY_PREFIX, clear_left_copies
from webapp.proof import backup_file
from webapp.proof.errors import BackupRefused
from webapp.proof.keys.key_file import write_whole
from webapp.proof.keys.key_ring import FILE_NAME, KeyRing
from webapp.services.evidence import ledger, safekeeping, succession, tombstones
from webapp.services.times import utc_text
from webapp.settings import Settings
from webapp.shop_folder import NEXT, shop_name
from webapp.store import FOLDERS, Store
from webapp.store.kept_head import NAME as HEAD

DONE, REFUSED, NO_SHOP = 0, 1, 2
RECIPIENT_FILE = "backup-recipient"
DATABASE, KEYS = "zerokeep.db", "keys"
# What a backup leaves out, and why.
LEFT_OUT: dict[str, str] = {
    r"zerokeep\.db(-journal|-wal|-shm)?": "copied by SQLite instead",
    r"before-step-[0-9]+\.db": "the database before an upgrade, of use on this computer only",
    r"looked-at-.*\.db.*": "a copy that is being looked at",
    r"ledger-head\.json": "as it was before the database was copied",
    r"(.*/)?\..*": "files that are being written",
    r"(.*/)?.*\.new": "files that are being written",
    r"short-keys/.*": "keys of sealed PINs that wait for their check: they are to be gone with it",
    r"incoming/.*": "tables that a lead is looking at, not taken in yet",
    r"server\.log": "what a demo says",
}
_LEFT_OUT = re.compile("|".join(f"(?:{one})" for one in LEFT_OUT))


def new_key(settings: Settings, path: Path) -> int:
    """Make the key that opens backups from now on, write it to a file that is not there yet, keep its public
    half.
    """
    if not has_shop(settings):
        return NO_SHOP
    with opened(settings) as (store, keyring):
        key, recipient = backup_file.new_key(keyring.receipt_key_id)
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except OSError as error:
            print(f"Cannot write {path}: {error.strerror}. Give the path of a new file.", file=sys.stderr)
            return REFUSED
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(key.as_text(shop_name(store)))
            file.flush()
            os.fsync(file.fileno())
        write_whole(settings.data_folder, RECIPIENT_FILE, f"{recipient}\n".encode("ascii"))
        safekeeping.note(store, safekeeping.KEY_MADE, {"recipient": recipient}, utc_now())
    print(f"The key that opens backups from now on: {path}")
    print(
        "Put it where neither the server nor the backups are, twice, one of them on paper, and take it away "
        "here."
    )
    print("Backups that were made before open with the key of then.")
    return DONE


def backup(settings: Settings, path: Path, *, as_json: bool) -> int:
    """Write a backup to a file that is not there yet, and note it on the ledger."""
    if not has_shop(settings):
        return NO_SHOP
    recipient = settings.data_folder / RECIPIENT_FILE
    if not recipient.is_file():
        print(
            "There is no key for backups yet. Make one, and keep it apart: "
            "zerokeep backup --new-key KEY-FILE",
            file=sys.stderr,
        )
        return REFUSED
    if path.exists():
        print(f"{path} is there already. A backup never takes another one's place.", file=sys.stderr)
        return REFUSED
    to = recipient.read_text(encoding="ascii", errors="replace").strip()
    with opened(settings) as (store, keyring):
        if not safekeeping.is_recipient(store, to):
            raise BackupRefused("backup.other_recipient", recipient=to[:80])
        said = write(settings, store, keyring, path, to)
        safekeeping.note(store, safekeeping.MADE, said, utc_now())
    if as_json:
        print(json.dumps({"file": str(path), **said}))
    else:
        print(
            f"{path}: {said['files']} files, {said['bytes']} bytes, the ledger with {said['size']} entries."
        )
        print(f"SHA-256 {said['sha256']}. Try it now and then: zerokeep backup --drill {path} --key KEY-FILE")
    return DONE


def write(
    settings: Settings, store: Store, keyring: KeyRing, path: Path, recipient: str
) -> dict[str, str | int]:
    """Write the backup; what to say of it. Raises BackupRefused, OSError, StoreError, and then there is no
    file.
    """
    aside = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        with _copied(settings, store) as copied, _created(aside) as out:
            copy = Store.open(copied, settings.files_folder)
            with copy.reading():
                now, disposed = ledger.head(copy), tombstones.newest(copy)
                statements = succession.statements(copy)
            said = {
                "made_at_utc": utc_text(utc_now()),
                "shop": shop_name(copy),
                "head": {"size": now["size"], "root": now["root"]},
            }
            copy.close()
            members = _members(settings, copied)
            listed = backup_file.write(out, members, said, recipient, keyring.receipt_key, statements)
            _nothing_disposed_since(store, disposed)
            out.flush()
            os.fsync(out.fileno())
        aside.rename(path)
    except BaseException:
        aside.unlink(missing_ok=True)
        raise
    with path.open("rb") as file:
        digest = file_digest(file, "sha256").hexdigest()
    return {
        "sha256": digest,
        "bytes": path.stat().st_size,
        "files": len(listed),
        "size": now["size"],
        "root": now["root"],
    }


@contextmanager
def _copied(settings: Settings, store: Store) -> Iterator[Path]:
    """A whole copy of the database as a file, whichever database it is, with the head that was kept before,
    so that the copy has it; both go when the block ends.
    """
    clear_left_copies(settings.data_folder)
    handle, name = tempfile.mkstemp(
        prefix=f"{COPY_PREFIX}{os.getpid()}-", suffix=".db", dir=settings.data_folder
    )
    os.close(handle)
    copy = Path(name)
    try:
        with suppress(FileNotFoundError):
            shutil.copyfile(settings.files_folder / HEAD, _head_of(copy))
        store.copy_to(copy)
        yield copy
    finally:
        for left in (copy, copy.with_name(f"{copy.name}-journal"), _head_of(copy)):
            left.unlink(missing_ok=True)


def _head_of(copy: Path) -> Path:
    return copy.with_name(f"{copy.name}-head")


def _created(path: Path) -> IO[bytes]:
    try:
        return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb")
    except OSError as error:
        raise BackupRefused("backup.not_written", path=str(path.parent), why=error.strerror or "") from error


def _nothing_disposed_since(store: Store, disposed: int | None) -> None:
    """Refuse a backup whose database names, as kept, records that may be gone from beside it."""
    with store.reading():
        if tombstones.newest(store) != disposed:
            raise BackupRefused("backup.disposed_meanwhile")


def _members(settings: Settings, database: Path) -> Iterator[tuple[str, Path]]:
    """The copied database first: what it names lies beside it by then, and is taken away by `dispose` alone,
    which writes tombstones first. Everything has the name that it has in a data folder where all lies
    together, wherever the settings have it.
    """
    yield DATABASE, database
    seen = set()
    head = [(HEAD, _head_of(database))]
    for name, path in (*head, *_of_keys(settings), *_of_files(settings), *_of_data(settings)):
        left_out = _LEFT_OUT.fullmatch(name) and path != _head_of(database)
        if name not in seen and path.is_file() and not path.is_symlink() and not left_out:
            seen.add(name)
            yield name, path


def _of_keys(settings: Settings) -> Iterator[tuple[str, Path]]:
    for name in (FILE_NAME, f"{NEXT}/{FILE_NAME}"):
        yield f"{KEYS}/{name}", settings.keys_folder / name


def _of_files(settings: Settings) -> Iterator[tuple[str, Path]]:
    """What the store keeps beside its database; other things that lie there are not the shop's."""
    for name in FOLDERS:
        for path in sorted((settings.files_folder / name).rglob("*")):
            yield path.relative_to(settings.files_folder).as_posix(), path


def _of_data(settings: Settings) -> Iterator[tuple[str, Path]]:
    """The rest, without what lies in it under another name and is there already."""
    folder = settings.data_folder.resolve()
    named = (settings.keys_folder, settings.files_folder, settings.database)
    elsewhere = {one.resolve() for one in named if isinstance(one, Path)} - {folder}
    for path in sorted(folder.rglob("*")):
        if not elsewhere & {path, *path.parents}:
            yield path.relative_to(folder).as_posix(), path
