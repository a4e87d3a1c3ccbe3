"""Measure the quality of the answers: every figure beside its bound, and the tables behind some of them.

    python -m tests.quality                          every figure; ends with 1 where a bound does not hold
    python -m tests.quality --part resisting --count 800 --seed 7
    python -m tests.quality --keep                   the same, and writes the parts measured into kept.md
    python -m tests.quality --table mistakes         a table: asks, mistakes, shifts

A part is a module of this folder with `rows(count, seed)`. The count is that of histories in one figure;
where one world or one check costs as much as many histories, it is divided (SHARES). before.json holds what
the same figures were before the rules that they measure were changed: numbers, or words where the program
then answered otherwise or not at all. For causes_in_shops and checks_of_probes they stand on the very draws
of kept.md, and which mistakes are identifiable is judged by today's list of causes unless the words say
otherwise. The whole takes half an hour to an hour of one processor.
"""

from __future__ import annotations

import argparse
import importlib
import json
import pkgutil
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

from tests import quality
from tests.quality import false_asks, mistakes, shifts
from tests.quality.rows import Part, Row, shown

HERE = Path(__file__).parent
KEPT, BEFORE = HERE / "kept.md", HERE / "before.json"
COUNT, SEED = 10_000, 20_261_130
SHARES = {"causes_in_shops": 40, "checks_of_probes": 10, "mistakes": 20}
TITLE = "# Figures and their bounds"
TABLES = {"asks": 2_000, "mistakes": 200, "shifts": 1_000}
HEAD = (
    "| item | figure | before | now | ± | bound | verdict |",
    "| --- | --- | --- | --- | --- | --- | --- |",
)


def parts() -> dict[str, Part]:
    """Return every module of this folder that has figures, by name."""
    found = {}
    for module in pkgutil.iter_modules(quality.__path__):
        if not module.name.startswith(("test_", "__")):
            rows = getattr(importlib.import_module(f"tests.quality.{module.name}"), "rows", None)
            if rows is not None:
                found[module.name] = rows
    return found


def key(row: Row) -> str:
    """Return what a figure is called before and after: without the true value that stands in it."""
    return row.what.split(", true ")[0]


def line(row: Row, before: Mapping[str, float | str]) -> str:
    """Return one line of the table."""
    was = before.get(key(row), "–")
    error = shown(row.error) if row.error else ""
    return (
        f"| {row.item} | {row.what} | {was if isinstance(was, str) else shown(was)} "
        f"| {shown(row.figure)} | {error} "
        f"| {row.bound} | {row.verdict} |"
    )


def measure(names: list[str], count: int, seed: int, *, keep: bool) -> int:
    """Print the figures of these parts, keep them if so wished, and return 1 where a bound does not hold."""
    before = json.loads(BEFORE.read_text(encoding="utf-8"))
    total = broken = 0
    for name in names:
        here = max(1, count // SHARES.get(name, 1))
        printed = [f"## {name}", "", f"`--part {name} --count {count} --seed {seed}`", "", *HEAD]
        print("\n".join(printed), flush=True)
        for row in parts()[name](here, seed):
            printed.append(line(row, before))
            print(printed[-1], flush=True)
            total, broken = total + 1, broken + (not row.holds)
        print()
        if keep:
            keep_part(name, printed)
    print(f"{broken} of {total} do not hold.")
    return int(broken > 0)


def keep_part(name: str, printed: list[str]) -> None:
    """Write one part's table into kept.md, the other parts' left as they are, in order of their names."""
    text = KEPT.read_text(encoding="utf-8") if KEPT.exists() else TITLE
    sections = {
        found.partition("\n")[0]: found.partition("\n")[2].strip() for found in f"\n{text}".split("\n## ")[1:]
    }
    sections[name] = "\n".join(printed[1:]).strip()
    body = "\n\n".join(f"## {part}\n\n{sections[part]}" for part in sorted(sections))
    said = "`python -m tests.quality --keep` writes a part anew; each says how it was measured."
    KEPT.write_text(f"{TITLE}\n\n{said}\n\n{body}\n", encoding="utf-8")


def asks(count: int, seed: int) -> Iterator[str]:
    yield (
        "| values scatter | in this seating | earlier seatings "
        "| asked in 100 | ± | 95 % interval of 1 in 100 | |"
    )
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    for row in false_asks.table(count, seed):
        low, high = row.interval
        said = "inside" if low <= row.rate <= high else "above" if row.rate > high else "below"
        numbers = (
            f"{100 * row.rate:.2f} | {100 * row.error:.2f} | {100 * max(0, low):.2f} to {100 * high:.2f}"
        )
        yield f"| {row.name} | {row.n} | {row.earlier} | {numbers} | {said} |"


def planted(count: int, seed: int) -> Iterator[str]:
    yield (
        "| mistake | planted | not `agrees` | told from chance "
        "| with the first | named at all | alike, both named |"
    )
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    total = mistakes.Score()
    for name, score in mistakes.run(count, seed).items():
        yield _score(name, score)
        for field, value in vars(score).items():
            setattr(total, field, getattr(total, field) + value)
    yield _score("all", total)
    share, error, by_cause = mistakes.chance_asks(10 * count, seed)
    yield ""
    quiet = f"{100 * (1 - share):.1f} ± {100 * error:.1f} %"
    yield f"Clean touches that ask by chance, {10 * count} worlds: no cause named in {quiet}."
    named = ", ".join(f"{code} {100 * part:.1f} %" for code, part in sorted(by_cause.items()))
    yield f"First named where one is: {named}"


def _score(name: str, score: mistakes.Score) -> str:
    told = max(1, score.told)
    caught = 100 * (1 - score.agrees / max(1, score.planted))
    both = f"{score.alike_both} of {score.alike_pairs}"
    shares = f"{100 * score.first / told:.1f} % | {100 * score.named / told:.1f} %"
    return f"| {name} | {score.planted} | {caught:.2f} % | {score.told} | {shares} | {both} |"


def moved(count: int, seed: int) -> Iterator[str]:
    yield "| shift after 30 setups, in spreads | individuals | EWMA | either, within 8 setups | ± |"
    yield "| --- | --- | --- | --- | --- |"
    for shift in (1.0, 1.5, 2.0, 3.0):
        seen = shifts.detection(shift, count, seed)
        shares = " | ".join(f"{100 * seen.share[kind]:.1f} %" for kind in shifts.KINDS)
        yield f"| {shift} | {shares} | {100 * seen.error:.1f} |"
    yield ""
    yield (
        "| false signals | parameters | mean run | ± | published or exact | middle run | within 100 setups |"
    )
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    exact = shifts.published()
    for known in (True, False):
        for row in shifts.run_lengths(count, seed, known=known):
            source = f"{exact[row.kind]:.0f}" if known else ""
            parameters = "known" if known else "from 30 setups"
            yield (
                f"| {row.kind} | {parameters} | {row.mean:.0f} | {row.error:.0f} | {source} | "
                f"{row.middle:.0f} "
                f"| {100 * row.within_100:.0f} % |"
            )


def main(arguments: list[str]) -> int:
    """Print the chosen parts or tables; 1 where a bound does not hold."""
    known = parts()
    parser = argparse.ArgumentParser(
        prog="python -m tests.quality", description="Measure the quality of the answers."
    )
    parser.add_argument("--part", choices=known, action="append")
    parser.add_argument("--table", choices=TABLES, action="append")
    parser.add_argument("--count", type=int)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--keep", action="store_true")
    options = parser.parse_args(arguments)
    print_of = {"asks": asks, "mistakes": planted, "shifts": moved}
    for table in options.table or ():
        for text in print_of[table](options.count or TABLES[table], options.seed):
            print(text, flush=True)
        print()
    if options.table:
        return 0
    return measure(options.part or list(known), options.count or COUNT, options.seed, keep=options.keep)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
