"""A slice of `python -m tests.long mistakes`:
every mistake once at one mill, and that the judging can fail.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.long import mistakes
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
    kind = "plover by hand" if case.needs == "by hand" else "plover"
    assert walk_one(base, case, kind, 0).broken == ()


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


@pytest.mark.parametrize(
    ("taken_out", "otherwise", "variant", "said"),
    [
        (
            "webapp.domain.setup.touching.copying.rows_with_values",
            lambda *_: [],
            "another's row, with values in it",
            "held another's values, and they are lost",
        ),
        (
            "webapp.domain.setup.trouble.stops.is_the_leads",
            lambda _: False,
            "radius left out, touched again the same",
            "was kept past the stop line without the lead",
        ),
        (
            "webapp.domain.setup.touching.by_hand.hold_against_surface",
            lambda *_: None,
            "entered by hand a little wrong, inside the ask line",
            "came out as prevented, expected caught",
        ),
    ],
    ids=["fingerprint", "second-stop", "entered-otherwise"],
)
def test_with_a_check_taken_out_of_the_product_the_command_says_so_and_ends_with_1(
    base: Base,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    taken_out: str,
    otherwise: Any,
    variant: str,
    said: str,
) -> None:
    monkeypatch.setattr(mistakes, "CASES", [case for case in CASES if case.variant == variant])
    monkeypatch.setattr(Base, "make", lambda _: base)
    assert mistakes.run(1) == 0
    monkeypatch.setattr(taken_out, otherwise)
    assert mistakes.run(1) == 1
    assert said in capsys.readouterr().out


def test_the_table_names_what_did_not_hold(base: Base) -> None:
    found = [replace(walk_one(base, CASES[0], "plover", 0), broken=("this",))]
    lines = list(table(found))
    assert lines[2].startswith("| jog sideways while low | list followed | followed | prevented 1 of 1 |")
    assert lines[-1].endswith("(plover, seed 0): this")
