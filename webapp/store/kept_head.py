"""The last head of the ledger, kept in a file of its own beside the database.

Rules: written whole after each audit and each sealed record (temporary name, flush, rename, flush of the
folder), one writer at a time among threads and processes, so that a database that was cut short, or exchanged
for an older or another one, does not have it any more. A head that the ledger does not have is evidence and
stays until somebody says that a backup was brought back. It is one line of JSON: size and root.
Whoever may write the database may write this file as well: a head that left the building proves more.
"""

import fcntl
import json
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

NAME = "ledger-head.json"


class Head(NamedTuple):
    """Entries of the ledger and the root over them, lower-case hex."""

    size: int
    root: str


class KeptHead:
    """The file."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / NAME

    def read(self) -> Head | None:
        """The head that was kept last, None before the first.
        Raises ValueError for a file that holds none.
        """
        try:
            value = json.loads(self.path.read_text(encoding="ascii"))
            return Head(int(value["size"]), str(value["root"]))
        except FileNotFoundError:
            return None
        except (OSError, KeyError, TypeError) as error:
            raise ValueError(str(error)) from error

    def write(self, size: int, root: str, has: Callable[[Head], bool]) -> None:
        """Keep this head, unless a larger one is kept or one of which `has` says that the ledger lacks it;
        OSError.
        """
        with self._alone() as folder:
            try:
                before = self.read()
            except ValueError:
                return  # what stands there is evidence: the audit says so
            if before is None or (before.size < size and has(before)):
                self._replace(Head(size, root), folder)

    def replace(self, size: int, root: str) -> None:
        """Keep this head whatever is kept. Raises OSError."""
        with self._alone() as folder:
            self._replace(Head(size, root), folder)

    @contextmanager
    def _alone(self) -> Iterator[int]:
        """The folder, opened and locked: each opening has a lock of its own, so that threads wait as well."""
        folder = os.open(self.path.parent, os.O_RDONLY)
        try:
            fcntl.flock(folder, fcntl.LOCK_EX)
            yield folder
        finally:
            os.close(folder)

    def _replace(self, head: Head, folder: int) -> None:
        handle, aside = tempfile.mkstemp(prefix=f".{NAME}.", dir=self.path.parent)  # for its owner alone
        try:
            with os.fdopen(handle, "w") as file:
                file.write(json.dumps(head._asdict()) + "\n")
                file.flush()
                os.fsync(file.fileno())
            Path(aside).replace(self.path)
        except BaseException:
            Path(aside).unlink(missing_ok=True)
            raise
        os.fsync(folder)
