"""Measure the quality of the answers and print it as tables.

    python -m tests.quality                 all parts, moderate counts
    python -m tests.quality --part mistakes --count 500 --seed 7

Counts: histories a cell (asks), planted mistakes of each kind (mistakes), charts (shifts).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator

from tests.quality import false_asks, mistakes, shifts

PARTS = {"asks": 2_000, "mistakes": 200, "shifts": 1_000}


def asks(count: int, seed: int) -> Iterator[str]:
    yield "| values scatter | in this seating | earlier seatings | asked in 100 | ± | 95 % interval of 1 in 100 | |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    for row in false_asks.table(count, seed):
        low, high = row.interval
        said = "inside" if low <= row.rate <= high else "above" if row.rate > high else "below"
        numbers = (
            f"{100 * row.rate:.2f} | {100 * row.error:.2f} | {100 * max(0, low):.2f} to {100 * high:.2f}"
        )
        yield f"| {row.name} | {row.n} | {row.earlier} | {numbers} | {said} |"


def planted(count: int, seed: int) -> Iterator[str]:
    yield "| mistake | planted | not `agrees` | told from chance | with the first | named at all | alike, both named |"
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
    yield "| false signals | parameters | mean run | ± | published or exact | middle run | within 100 setups |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    exact = shifts.published()
    for known in (True, False):
        for row in shifts.run_lengths(count, seed, known=known):
            source = f"{exact[row.kind]:.0f}" if known else ""
            parameters = "known" if known else "from 30 setups"
            yield (
                f"| {row.kind} | {parameters} | {row.mean:.0f} | {row.error:.0f} | {source} | {row.middle:.0f} "
                f"| {100 * row.within_100:.0f} % |"
            )


def main(arguments: list[str]) -> None:
    """Print the chosen parts."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.quality", description="Measure the quality of the answers."
    )
    parser.add_argument("--part", choices=PARTS, action="append")
    parser.add_argument("--count", type=int)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    print_of = {"asks": asks, "mistakes": planted, "shifts": moved}
    for part in options.part or PARTS:
        for line in print_of[part](options.count or PARTS[part], options.seed):
            print(line, flush=True)
        print()


if __name__ == "__main__":
    main(sys.argv[1:])
