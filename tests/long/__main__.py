"""`python -m tests.long NAME [COUNT]`, for some with more words (`NAME --help`):
checks that take too long for the test command, which runs a slice of each.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

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

RUNS: dict[str, Callable[[int | None], int]] = {
    "flips": flips.run,
    "hand_edits": hand_edits.run,
    "kills": kills.run,
    "leaves": leaves.run,
    "machine": machine.run,
    "mistakes": mistakes.run,
    "seeds": seeds.run,
    "server_disk": server_disk.run,
    "verdicts": verdicts.run,
    "windows": windows.run,
}
# Those that take more words than a number.
WITH_WORDS: dict[str, Callable[[list[str]], int]] = {
    "browser_kills": browser_kills.run,
    "container": container.run,
    "engines": engines.run,
    "grow": grow.run,
    "mutations": mutations.run,
    "scan": scan.run,
    "tablets": running.run,
}


def main(arguments: list[str]) -> int:
    """Run the named check, whole or that many cases of it; 1 where it finds something."""
    if arguments and arguments[0] in WITH_WORDS:
        return WITH_WORDS[arguments[0]](arguments[1:])
    if not arguments or arguments[0] not in RUNS:
        names = sorted([*RUNS, *WITH_WORDS])
        print(f"Give one of {', '.join(names)}, and a number of cases if not all of them.", file=sys.stderr)
        return 2
    return RUNS[arguments[0]](int(arguments[1]) if len(arguments) > 1 else None)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
