"""Changes of one place in the code, each with the tests that ought to notice it:
what nobody notices is a survivor.

`python -m tests.long mutations` tries them all, with a number a sample of that many, drawn by a fixed seed (a
second number names another); `--in webapp/services` draws from there alone.
`tests/long/mutations.md` keeps the last figures and argues each survivor.
First every quick test runs once and is watched (some minutes, kept beside the temporary files until a file
changes); then each change is made in a fork of a process that has collected them, where the tests that run
its line are asked, the nearest first, until one fails. A change of a module's own level, and one that nobody
noticed, is tried once more in a fork that reads the program anew. A change that only a browser, the second
database or a linter would notice counts as a survivor. What never ends counts as noticed, but not what the
clock ended before it had its seconds of the processor.
Own code, and no mutation tool of a registry: those start a whole test run for each change.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from random import Random

from tests.long.mutating import covering
from tests.long.mutating.collected import Collected, collect
from tests.long.mutating.forked import BY_THE_CLOCK, Outcome, in_fork, tried, warm
from tests.long.mutating.places import Change, changes

ROOT = Path(__file__).parents[2]
SEED = 20_261_130
LONGEST_S, AT_ALL_S = 240, 36_000
# Numbers of pytest: all green or nothing to ask; a test that is named and not there.
LIVES, NOT_FOUND = {0, 5, BY_THE_CLOCK}, 4
NOBODY = Outcome(5, "no test runs it")
# Rules, intake, decisions, secrets, what stands before every view, and seals with their judges.
PLACES = (
    "webapp/domain/plain/lengths.py",
    "webapp/domain/touch/compare.py",
    "webapp/domain/touch/square.py",
    "webapp/domain/setup/*.py",
    "webapp/domain/setup/*/*.py",
    "webapp/domain/shop/levels.py",
    "webapp/domain/shop/slots.py",
    "webapp/domain/evidence/chain.py",
    "webapp/domain/evidence/reviewed.py",
    "webapp/domain/evidence/tree.py",
    "webapp/domain/usual/usual.py",
    "webapp/domain/usual/limits.py",
    "webapp/services/intake/*.py",
    "webapp/services/decisions/*.py",
    "webapp/services/setups/pins.py",
    "webapp/services/setups/sealed_pins.py",
    "webapp/services/people/*.py",
    "webapp/web/edge/*.py",
    "webapp/proof/pdf/*.py",
    "webapp/proof/keys/jw?.py",
    "webapp/proof/keys/kept_seal.py",
    "webapp/proof/sealed_record/*.py",
)


def modules() -> list[str]:
    """The modules that are changed, by their paths in the tree."""
    found = (str(path.relative_to(ROOT)) for place in PLACES for path in ROOT.glob(place))
    return sorted(path for path in set(found) if not path.endswith("__init__.py"))


def known(rooms: Sequence[str] = ("",)) -> list[Change]:
    """Every change of these modules, in the order of their places; a room is named by how its paths begin."""
    named = [path for path in modules() if path.startswith(tuple(rooms))]
    return [one for path in named for one in changes(path, (ROOT / path).read_text(encoding="utf-8"))]


def drawn(words: Sequence[str]) -> list[Change]:
    """Every change that the words of the command ask for: `[COUNT [SEED]] [--in ROOM ...]`.
    Raises SystemExit where the words cannot be read, or name a room in which no change is known.
    """
    reading = argparse.ArgumentParser(prog="python -m tests.long mutations")
    reading.add_argument("count", nargs="?", type=int, help="a sample of so many, else all")
    reading.add_argument("seed", nargs="?", type=int, default=SEED, help="which draw")
    reading.add_argument("--in", dest="rooms", action="append", help="how the paths begin; all without it")
    asked = reading.parse_args(words)
    everything = known(asked.rooms or ("",))
    if not everything:
        named = ", ".join(asked.rooms)
        reading.error(f"no change is known in {named}: give the beginning of a path of PLACES")
    if asked.count is None:
        return everything
    return Random(asked.seed).sample(everything, min(asked.count, len(everything)))


def watched_rooms(these: Sequence[Change]) -> tuple[str, ...]:
    """The rooms of tests that could notice one of these: what lies below the services runs none of them."""
    above = all(one.path.startswith(("webapp/services", "webapp/web")) for one in these)
    return covering.ABOVE if above else covering.ROOMS


def quickly(asked: Sequence[tuple[Change, list[str]]], rooms: Sequence[str]) -> list[str]:
    """Who notices each change of a function, told by a process that has collected these rooms' tests;
    nothing for a change that is to be tried anew.
    """
    terminal = os.fdopen(os.dup(1), "w")

    def work() -> Outcome:
        told: list[str] = []

        def each(here: Collected) -> None:
            for one, names in asked:
                ended = here.tried(one, names, LONGEST_S) if names else None
                told.append(ended.said if ended is not None and ended.code not in LIVES else "")
                terminal.write(f"{one.path}:{one.line}: {told[-1] or 'to be tried anew'}\n")
                terminal.flush()

        with tempfile.TemporaryDirectory() as folder:
            code = collect(ROOT, Path(folder) / "base", [*covering.QUICK, *rooms], each)
        return Outcome(code, json.dumps(told))

    ended = in_fork(work, AT_ALL_S)
    if ended.code not in LIVES:
        raise RuntimeError(ended.said)
    found: list[str] = json.loads(ended.said)
    return found


def anew(one: Change, names: list[str]) -> Outcome:
    """How a change ends with the tests that are asked, in a process that reads the program anew."""
    if not names:
        return NOBODY
    ended = tried(ROOT, one, names, LONGEST_S)
    if ended.code == NOT_FOUND:  # the change is in a test's own name: all of its file is asked
        files = list(dict.fromkeys(name.partition("::")[0] for name in names))
        ended = tried(ROOT, one, files, LONGEST_S)
    return ended


def run(words: list[str]) -> int:
    """Print each survivor, and how many there are of how many; 1 where they are five in a hundred or more."""
    these = drawn(words)
    warm()
    rooms = watched_rooms(these)
    tests = covering.seen(modules(), rooms)
    asked = [(one, covering.nearest(one, tests)) for one in these]
    sys.stdout.write(f"{len(known())} changes known, {len(tests)} tests run one of their modules\n")
    sys.stdout.flush()
    noticed = quickly(asked, rooms)
    left = Counter[str]()
    for (one, names), who in zip(asked, noticed, strict=True):
        ended = Outcome(1, who) if who else anew(one, names)
        if ended.code in LIVES:
            left[room_of(one)] += 1
            place = f"{one.path}:{one.line}: `{one.before}` -> `{one.after}`"
            sys.stdout.write(f"{place} ({ended.said or 'all green'})\n")
            sys.stdout.flush()
    tried_of = Counter(map(room_of, these))
    for room in sorted(tried_of):
        sys.stdout.write(f"{room}: {left[room]} of {tried_of[room]} survive\n")
    never = sum(who.startswith("ended by signal") for who in noticed)
    sys.stdout.write(f"{left.total()} of {len(these)} survive, {never} never ended\n")
    return 1 if 20 * left.total() >= len(these) else 0


def room_of(change: Change) -> str:
    """The room that a change is counted in: the first three folders of its path, else all of them."""
    return "/".join(change.path.split("/")[:-1][:3])
