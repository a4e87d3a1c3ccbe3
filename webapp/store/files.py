"""Files named by the hash of what is in them.

Rules: written under a temporary name, flushed to the disk, renamed, and the folder flushed, in that order; so
a name that is there always has all of its bytes behind it, and a failure leaves nothing under a final name.
What is read is hashed again.
"""

import errno
import os
import threading
from hashlib import sha256
from pathlib import Path

from webapp.store.errors import DatabaseDamaged, DiskFailed, DiskFull, FolderNotWritable, StoreError


class HashedFiles:
    """A folder of such files."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, digest: str) -> Path:
        """Where the file of this SHA-256 (lower-case hex) lies."""
        return self.folder / digest[:2] / digest

    def write(self, data: bytes) -> str:
        """Keep these bytes; their SHA-256. Where their file was damaged it is whole again.
        Raises FolderNotWritable, DiskFull, DiskFailed, and then nothing is kept.
        """
        digest = sha256(data).hexdigest()
        path = self.path(digest)
        try:
            if not self.is_whole(digest):
                path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
                _write_whole(path, data)
        except OSError as error:
            raise named_error(error, path) from error
        return digest

    def read(self, digest: str) -> bytes:
        """The bytes of this SHA-256. Raises DatabaseDamaged if they are gone or no longer those."""
        path = self.path(digest)
        try:
            data = path.read_bytes()
        except OSError as error:
            raise DatabaseDamaged(path=str(path), why=error.strerror or "not readable") from error
        if sha256(data).hexdigest() != digest:
            raise DatabaseDamaged(path=str(path), why="its bytes are not those that were written")
        return data

    def whole(self, digest: str) -> bytes | None:
        """The bytes of this SHA-256, None if they are gone or no longer those."""
        try:
            return self.read(digest)
        except DatabaseDamaged:
            return None

    def is_whole(self, digest: str) -> bool:
        """Whether the file is there with the bytes that were written."""
        return self.whole(digest) is not None

    def remove(self, digest: str) -> None:
        """Take a file away again whose row could not be written."""
        self.path(digest).unlink(missing_ok=True)

    def keep_newest(self, count: int) -> None:
        """Take away all but the files that were written last."""
        files = [path for path in self.folder.glob("*/*") if path.is_file()]
        for path in sorted(files, key=lambda path: path.stat().st_mtime_ns, reverse=True)[count:]:
            path.unlink(missing_ok=True)


def _write_whole(path: Path, data: bytes) -> None:
    # Of two who bring the same bytes at once each has a name of its own, or one would take away the other's.
    temporary = path.with_name(f"{path.name}.{os.getpid()}.{threading.get_ident()}.new")
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.rename(path)
    except OSError:
        temporary.unlink(missing_ok=True)
        raise
    for folder in (path.parent, path.parent.parent):
        flush_folder(folder)


def flush_folder(folder: Path) -> None:
    """Have the disk keep what was renamed or made in the folder. Raises OSError."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def named_error(error: OSError, path: Path) -> StoreError:
    """What an error of the disk is called here."""
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOTDIR}:
        return FolderNotWritable(folder=str(path.parent))
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return DiskFull()
    return DiskFailed(why=error.strerror or str(error))
