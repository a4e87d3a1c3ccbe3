"""The twenty-five mistakes as whole walks at the simulated mill: `python -m tests.long mistakes [SEEDS]`.

What came of each is kept as a table beside this module; the command prints it,
and ends with 1 where a claim does not hold (see `judging`). The test command walks a slice.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from tests.long.mistakes.judging import Outcome, judge
from tests.long.mistakes.planted import CASES, MISTAKES, Case
from tests.long.mistakes.running import PEOPLE, Base, World

TABLE = Path(__file__).with_name("mistakes.md")
MACHINES = ("plover", "dunlin")
SEEDS = 1


def walk_one(base: Base, case: Case, machine: str, seed: int) -> Outcome | None:
    """One case in one world of its own; None where this mill's vise has not what the case is about."""
    with tempfile.TemporaryDirectory() as folder:
        world = World.open(base, Path(folder), machine, seed)
        try:
            if not world.has_what_it_needs(case):
                return None
            return replace(_walked(world, case, machine), seed=seed)
        finally:
            world.store.close()


def _walked(world: World, case: Case, machine: str) -> Outcome:
    world.plant(case)
    walked = world.walk(case, PEOPLE[machine])
    if not case.then:
        return judge(case, world, walked)
    harmed = walked.follower.harmed
    owners = {row["label"]: row["owner_id"] for row in walked.follower.sheet["slots"]}
    return judge(case, world, walked, world.later(case, owners.get(harmed, PEOPLE[machine])))


def outcomes(base: Base, cases: Iterable[Case], machines: Iterable[str], seeds: int) -> Iterator[Outcome]:
    """Every case at every machine with every seed, where the machine has what the case needs."""
    for case in cases:
        for machine in machines:
            for seed in range(seeds):
                outcome = walk_one(base, case, machine, seed)
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
        base = Base.make(Path(folder))
        found = list(outcomes(base, CASES, MACHINES, seeds or SEEDS))
    lines = list(table(found))
    print("\n".join(lines))
    if seeds is None:
        TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return 1 if any(one.broken for one in found) else 0
