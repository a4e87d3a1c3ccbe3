"""`python -m tests.long NAME [COUNT]`, for some with more words (`NAME --help`):
checks that take too long for the test command, which runs a slice of each. Without a name they are listed.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any, NamedTuple

from tests.long import (
    browser_kills,
    container,
    engines,
    flips,
    grow,
    hand_edits,
    kills,
    leaves,
    machine,
    mistakes,
    mutations,
    scan,
    seeds,
    server_disk,
    verdicts,
    windows,
)
from tests.long.tablets import running


class Run(NamedTuple):
    """What a run is given (how many cases, all of them for None; or its words), and what it looks at."""

    run: Callable[[Any], int]
    looks_at: str
    takes_words: bool = False


RUNS = {
    "browser_kills": Run(
        browser_kills.run, "a tablet's browser killed 200 times in a setup, opened again on its profile", True
    ),
    "container": Run(container.run, "as root: README's container file, line by line, in a bare Debian", True),
    "engines": Run(
        engines.run, "the offline setup in Chromium, Firefox ESR and WebKitGTK over TLS: engines.md", True
    ),
    "flips": Run(
        flips.run, "200 bytes of database and files flipped: found by an audit, or no meaning: flips.md"
    ),
    "grow": Run(
        grow.run, "every page and call at 1,000, 10,000, 100,000 setups; --on-server, --years: grown.md", True
    ),
    "hand_edits": Run(
        hand_edits.run, "who finds which hand edit: an audit, an old record, an old head: hand_edits.md"
    ),
    "kills": Run(
        kills.run, "a server killed 500 times: under load, sign-off, sealing, a backup, a renewal: kills.md"
    ),
    "leaves": Run(
        leaves.run, "a ledger of a million entries: what an append, a proof, a walk cost: proof.md"
    ),
    "machine": Run(
        machine.run, "tablets and a server through anything in any order: lost answers, copies, backups"
    ),
    "mistakes": Run(
        mistakes.run, "planted mistakes as whole walks at the practice mill: mistakes/mistakes.md"
    ),
    "mutations": Run(
        mutations.run,
        "changes of one place, and which no test notices; 50 of them, --in ROOM: mutations.md",
        True,
    ),
    "scan": Run(
        scan.run, "a general scanner for web applications at the demo, as stranger and lead: scan.md", True
    ),
    "seeds": Run(seeds.run, "the tests that draw their cases, with other draws than the test command's"),
    "server_disk": Run(
        server_disk.run, "as root: a PostgreSQL server whose disk is full, and has room again"
    ),
    "tablets": Run(
        running.run,
        "200 tablets at a real server, nothing lost or doubled; --on-server, --news: grown.md",
        True,
    ),
    "verdicts": Run(verdicts.run, "20,000 touches judged by the server and in a real browser"),
    "windows": Run(windows.run, "every planned touch of 20,000 invented shops, against geometry: windows.md"),
}


def main(arguments: list[str]) -> int:
    """Run the named check, whole or that many cases of it; 1 where it finds something."""
    if not arguments or arguments[0] not in RUNS:
        print("Give one of these, and for most a number of cases if not all of them:", file=sys.stderr)
        for name, one in RUNS.items():
            print(f"  {name:14} {one.looks_at}", file=sys.stderr)
        return 2
    named, words = RUNS[arguments[0]], arguments[1:]
    if named.takes_words:
        return named.run(words)
    return named.run(int(words[0]) if words else None)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
