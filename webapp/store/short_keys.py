"""Keys that live only as long as what they close: a file each, outside of the database and of every backup.

Rules: a key is on the disk before the row that it closes is; it is overwritten and taken away after that row
is gone, so that a crash in between leaves a key that opens nothing, which the next start takes away. What a
disk keeps of overwritten blocks is for the disk's own encryption.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Collection
from contextlib import suppress
from datetime import datetime
from hashlib import sha256
from pathlib import Path

from webapp.store.files import flush_folder, named_error

LENGTH_BYTES = 32


class ShortKeys:
    """A folder of such files, named by the digest of what a key is for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def make(self, name: str) -> bytes:
        """A key made by chance under a name; one that is there already is given.
        Raises FolderNotWritable, DiskFull, DiskFailed.
        """
        path, key = self._path(name), secrets.token_bytes(LENGTH_BYTES)
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(key)
                file.flush()
                os.fsync(file.fileno())
            flush_folder(self.folder)
        except FileExistsError:
            there = self.key(name)
            if there is not None:
                return there
            self.destroy(name)
            return self.make(name)
        except OSError as error:
            raise named_error(error, path) from error
        return key

    def key(self, name: str) -> bytes | None:
        """The key of this name; None where there is none, or half of one."""
        try:
            found = self._path(name).read_bytes()
        except OSError:
            return None
        return found if len(found) == LENGTH_BYTES else None

    def destroy(self, name: str) -> None:
        """Overwrite a key and take its file away, as far as the disk lets it; nothing where there is none."""
        self._destroy(self._path(name))

    def destroy_all_but(self, names: Collection[str], made_before: datetime) -> None:
        """The same for every key that was made before a time, but these."""
        kept = {self._path(name) for name in names}
        for path in [path for path in self.folder.glob("*") if path not in kept]:
            if _is_older(path, made_before):
                self._destroy(path)

    def _destroy(self, path: Path) -> None:
        with suppress(OSError):
            with path.open("r+b") as file:
                file.write(bytes(max(path.stat().st_size, LENGTH_BYTES)))
                file.flush()
                os.fsync(file.fileno())
            path.unlink()
            flush_folder(self.folder)

    def _path(self, name: str) -> Path:
        return self.folder / sha256(name.encode()).hexdigest()


def _is_older(path: Path, moment: datetime) -> bool:
    try:
        return path.stat().st_mtime < moment.timestamp()
    except OSError:  # somebody else took it away
        return False
