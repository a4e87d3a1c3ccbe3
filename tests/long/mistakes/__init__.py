"""The twenty-five mistakes as whole walks at the simulated mill: `python -m tests.long mistakes [SEEDS]`.

What came of each is kept as a table beside this module; the command prints it,
and ends with 1 where a claim does not hold (see `judging`). The test command walks a slice.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from tests.long.mistakes.judging import Outcome, judge
from tests.long.mistakes.planted import CASES, MISTAKES, Case
from tests.long.mistakes.running import KINDS, WALKS, Base, World

TABLE = Path(__file__).with_name("mistakes.md")
SEEDS = 1


def walk_one(base: Base, case: Case, kind: str, seed: int) -> Outcome | None:
    """One case in one world of its own; None where this kind of mill has not what the case is about."""
    with tempfile.TemporaryDirectory() as folder:
        world = World.open(base, Path(folder), kind, seed)
        try:
            if not world.has_what_it_needs(case):
                return None
            return replace(_outcome(world, case), machine=kind, seed=seed)
        finally:
            world.store.close()


def _outcome(world: World, case: Case) -> Outcome:
    """What came of it; a walk that cannot go on, or that the server does not take, is a claim broken too."""
    try:
        return _walked(world, case)
    except AssertionError as stopped:
        return Outcome(case, world.machine, 0, "not walked", "", (f"not walked to its end: {stopped}",))


def _walked(world: World, case: Case) -> Outcome:
    world.plant(case)
    walked = world.walk(case, WALKS)
    if not case.then:
        return judge(case, world, walked)
    harmed = walked.follower.harmed
    owners = {row["label"]: row["owner_id"] for row in walked.follower.sheet["slots"]}
    return judge(case, world, walked, world.later(case, owners.get(harmed, WALKS)))


def outcomes(base: Base, cases: Iterable[Case], kinds: Iterable[str], seeds: int) -> Iterator[Outcome]:
    """Every case at every kind of mill with every seed, where it has what the case needs."""
    for case in cases:
        for kind in kinds:
            for seed in range(seeds):
                outcome = walk_one(base, case, kind, seed)
                if outcome is not None:
                    yield outcome


def table(found: list[Outcome]) -> Iterator[str]:
    """The outcomes as a table, one line a case; then the claims."""
    yield "| mistake | how it comes about | list | came out | by what | why not |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for case in CASES:
        here = [one for one in found if (one.case.mistake, one.case.variant) == (case.mistake, case.variant)]
        if here:
            yield _line(case, here)
    broken = [one for one in found if one.broken]
    yield ""
    yield f"{len(MISTAKES)} mistakes, {len(found)} walks; claims that did not hold: {len(broken)}."
    for one in broken:
        yield (
            f"- {one.case.mistake}, {one.case.variant} ({one.machine}, seed {one.seed}): "
            f"{'; '.join(one.broken)}"
        )


def _line(case: Case, here: list[Outcome]) -> str:
    counts = {came: sum(one.came == came for one in here) for came in dict.fromkeys(one.came for one in here)}
    came = ", ".join(f"{came} {count} of {len(here)}" for came, count in counts.items())
    by = " / ".join(dict.fromkeys(one.by for one in here if one.by))
    left = ", ".join(case.leaves) or "followed"
    return f"| {case.mistake} | {case.variant} | {left} | {came} | {by} | {case.why} |"


def run(seeds: int | None = None) -> int:
    """Walk everything and print the table; 1 where a claim does not hold."""
    with tempfile.TemporaryDirectory() as folder:
        base, found = Base.make(Path(folder)), []
        for one in outcomes(base, CASES, KINDS, seeds or SEEDS):
            found.append(one)
            print(
                f"{len(found)} {one.machine}: {one.case.variant}: {one.came} {'; '.join(one.broken)}",
                file=sys.stderr,
            )
    lines = list(table(found))
    print("\n".join(lines))
    if seeds is None:
        TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return 1 if any(one.broken for one in found) else 0
