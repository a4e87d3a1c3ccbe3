"""The last head of the ledger, kept in a file of its own beside the database.

Rules: written whole after each audit and each sealed record (temporary name, flush, rename), so that a database that
was cut short, or exchanged for an older or another one, does not have it any more. It is one line of JSON: size and
root.
Whoever may write the database may write this file as well: a head that left the building proves more.
"""

import json
import os
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
        """The head that was kept last, None before the first. Raises ValueError for a file that holds none."""
        try:
            value = json.loads(self.path.read_text(encoding="ascii"))
            return Head(int(value["size"]), str(value["root"]))
        except FileNotFoundError:
            return None
        except (OSError, KeyError, TypeError) as error:
            raise ValueError(str(error)) from error

    def write(self, size: int, root: str) -> None:
        """Keep this head, unless a larger one is kept. Raises OSError."""
        head = Head(size, root)
        try:
            before = self.read()
        except ValueError:
            return  # what stands there is evidence: the audit says so
        if before is not None and before.size >= head.size:
            return
        aside = self.path.with_name(f".{NAME}.{os.getpid()}")
        with os.fdopen(os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
            file.write(json.dumps(head._asdict()) + "\n")
            file.flush()
            os.fsync(file.fileno())
        aside.replace(self.path)
