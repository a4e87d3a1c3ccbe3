"""The audit's own process: it looks at what is stored beside the server, at low priority, and says what it
found.

Rules: the process gets the path of the database, or the address of one on a server, that in its environment:
it may hold a password, and arguments are seen by all. It gets nothing else of the server's environment but
what finds that database; it brings no web server and no press with it, so that it stays below 100 MB whatever
is stored; it ends with the process that asked for it. Where it finds nothing it lets go of old sheets that
nobody can need any more. What it prints is one JSON text; what went wrong it says on its other output, with
exit status 1: a sentence alone, whatever went wrong.

`python -m webapp.server.audit_room DATABASE PARENT [--new]`; PARENT is the number of the process that asks.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, cast

from webapp.server.ending import end_with_parent

if TYPE_CHECKING:
    from webapp.services.audit.auditing import Audited

PROGRAM = Path(__file__).resolve().parents[2]
ONLY_NEW = "--new"
LOWER_PRIORITY = 10
DATABASE, FILES = "ZEROKEEP_DATABASE", "ZEROKEEP_FILES_FOLDER"


class AuditNotDone(Exception):
    """The audit could not be done. The text says why."""


def audit_apart(database: Path | str, files: Path | None = None, *, only_new: bool = False) -> Audited:
    """What an audit in a process of its own looked at and found, as it put it on the ledger. Raises
    AuditNotDone.
    """
    on_server = isinstance(database, str)
    named = "the database of the environment" if on_server else str(database)
    asked = [named, str(os.getpid()), *([ONLY_NEW] if only_new else [])]
    done = subprocess.run(
        [sys.executable, "-P", "-m", "webapp.server.audit_room", *asked],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        env={
            **({DATABASE: str(database), **_finds_server()} if on_server else {}),
            **({FILES: str(files)} if files else {}),
            "PATH": os.defpath,
            "PYTHONPATH": str(PROGRAM),
            "PYTHONDONTWRITEBYTECODE": "1",
            "LANG": "C.UTF-8",
        },
    )
    if done.returncode:
        raise AuditNotDone(done.stderr.strip() or f"Its process ended with status {done.returncode}.")
    return cast("Audited", json.loads(done.stdout))


def _finds_server() -> dict[str, str]:
    """What of the environment says where a database's server and its secrets are."""
    return {name: value for name, value in os.environ.items() if name == "HOME" or name.startswith("PG")}


def main(arguments: list[str]) -> int:
    """Audit the database that the environment names, else the file that is named first; the exit status."""
    from webapp.services.audit import auditing  # noqa: PLC0415 - who asks from the server has it already
    from webapp.services.sheets import letting_go  # noqa: PLC0415
    from webapp.store import Store, StoreError  # noqa: PLC0415

    end_with_parent(int(arguments[1]))
    os.nice(LOWER_PRIORITY)
    try:
        files = os.environ.get(FILES)
        store = Store.open(os.environ.get(DATABASE) or Path(arguments[0]), Path(files) if files else None)
        outcome = auditing.run(store, datetime.now(UTC), only_new=ONLY_NEW in arguments[2:])
        if not outcome.count:
            letting_go.let_go(store, datetime.now(UTC))
        store.close()
    except StoreError as error:
        print(error, file=sys.stderr)
        return 1
    except Exception as error:  # noqa: BLE001 - whatever it is, a person reads it
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        return 1
    print(json.dumps(outcome.as_dict(), ensure_ascii=False))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
