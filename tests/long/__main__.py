"""`python -m tests.long NAME [COUNT]`:
checks that take too long for the test command, which runs a slice of each.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

from tests.long import grow, hand_edits, kills, leaves, machine, mistakes, mutations, seeds, verdicts, windows

RUNS: dict[str, Callable[[int | None], int]] = {
    "grow": grow.run,
    "hand_edits": hand_edits.run,
    "kills": kills.run,
    "leaves": leaves.run,
    "machine": machine.run,
    "mistakes": mistakes.run,
    "mutations": mutations.run,
    "seeds": seeds.run,
    "verdicts": verdicts.run,
    "windows": windows.run,
}


def main(arguments: list[str]) -> int:
    """Run the named check, whole or that many cases of it; 1 where it finds something."""
    if not arguments or arguments[0] not in RUNS:
        print(f"Give one of {', '.join(RUNS)}, and a number of cases if not all of them.", file=sys.stderr)
        return 2
    return RUNS[arguments[0]](int(arguments[1]) if len(arguments) > 1 else None)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
