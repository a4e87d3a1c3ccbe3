"""A slice of `python -m tests.long mistakes`:
every mistake once at one mill, and that the judging can fail.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.long.mistakes import CASES, MISTAKES, TABLE, leaving, table, walk_one
from tests.long.mistakes.follower import Follower, Step
from tests.long.mistakes.planted import Case
from tests.long.mistakes.running import Base

# The last way in which each mistake comes about; the command walks all of them.
SLICE = {case.mistake: case for case in CASES}


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Base:
    return Base.make(tmp_path_factory.mktemp("walks"))


@pytest.mark.parametrize("case", SLICE.values(), ids=lambda case: case.mistake.replace(" ", "-"))
def test_a_mistake_comes_out_as_the_table_says(base: Base, case: Case) -> None:
    assert walk_one(base, case, "plover", 0).broken == ()


def test_there_are_twenty_five_and_the_kept_table_has_them_all_and_no_claim_broken() -> None:
    kept = TABLE.read_text(encoding="utf-8")
    assert len(MISTAKES) == 25
    for case in CASES:
        assert f"| {case.mistake} | {case.variant} |" in kept
    assert "claims that did not hold: 0." in kept


def typing_the_usual(follower: Follower, step: Step) -> int:
    """Type what the vise usually gives, without touching: as somebody would who knows it from elsewhere."""
    return int(follower.plan(step["axis"])["usual"]["centre_nm"])


FOLLOWED = Case("made up", "list followed", "prevented")


@pytest.mark.parametrize(
    ("case", "said"),
    [
        (replace(FOLLOWED, more={"moved_nm": {"X": 0, "Y": 0, "Z": 140_000_000}}),
         "while the list was followed"),
        (replace(FOLLOWED, leaves={"y.over": leaving.moving_while_low}), "no step names"),
        (
            replace(FOLLOWED, leaves={"y.over": leaving.moving_while_low}, named_by=(("y.over", "whistle"),)),
            "does not say “whistle”",
        ),
        (
            replace(FOLLOWED, leaves={"y.over": leaving.moving_while_low},
                    named_by=(("stow.up", "raise Z"),)),
            "comes after the list was left",
        ),
        (replace(FOLLOWED, leaves={"x.touch": typing_the_usual}), "the row holds another value"),
        (replace(FOLLOWED, world=("ball_left_out",)), "expected prevented"),
        (replace(FOLLOWED, expect="caught"), "expected caught"),
    ],
)  # fmt: skip
def test_a_claim_that_does_not_hold_is_said(base: Base, case: Case, said: str) -> None:
    assert said in " ".join(walk_one(base, case, "plover", 0).broken)


def test_the_table_names_what_did_not_hold(base: Base) -> None:
    found = [replace(walk_one(base, CASES[0], "plover", 0), broken=("this",))]
    lines = list(table(found))
    assert lines[2].startswith("| jog sideways while low | list followed | followed | prevented 1 of 1 |")
    assert lines[-1].endswith("(plover, seed 0): this")
