"""Likely causes in shops as they are, at small counts: what must hold, and that the measuring can fail."""

from __future__ import annotations

import pytest

from tests.quality import causes_in_shops
from tests.quality.causes_in_shops import PLANTS, Told, honest_moves, run
from webapp.domain.causes import named

SEED = 20261125


@pytest.fixture(scope="module")
def scores() -> dict[str, Told]:
    return run(12, SEED)


def summed(scores: dict[str, Told], part: str) -> int:
    return sum(getattr(one, part) for one in scores.values())


def test_every_kind_was_planted(scores: dict[str, Told]) -> None:
    assert set(scores) == set(PLANTS)
    assert all(one.planted == 12 for one in scores.values())
    assert summed(scores, "identifiable") > 200
    assert summed(scores, "others") > 50


def test_what_can_be_identified_is_named_first(scores: dict[str, Told]) -> None:
    assert summed(scores, "first") / summed(scores, "identifiable") >= 0.95


def test_what_cannot_stands_in_the_set_that_is_shown(scores: dict[str, Told]) -> None:
    assert summed(scores, "held") / summed(scores, "others") >= 0.95


@pytest.mark.parametrize("kind", ["another probe's ball", "work coordinates"])
def test_a_kind_that_was_never_named_is(scores: dict[str, Told], kind: str) -> None:
    assert scores[kind].named >= 11


def test_no_other_mistake_is_named_as_a_wrong_digit_first(scores: dict[str, Told]) -> None:
    assert summed(scores, "digit_first") <= 0.05 * summed(scores, "planted")


def test_honest_moves_are_told_that_the_vise_may_have_moved() -> None:
    found = honest_moves(60, SEED)
    assert found.wrong <= 6
    assert found.size <= 4 * found.asked


def test_the_measure_sees_a_cause_that_is_not_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = named.geometry_causes

    def without_other_balls(*given: object) -> list[named.Candidate]:
        return [one for one in whole(*given) if one.code != "cause.other_ball"]  # type: ignore[arg-type]

    monkeypatch.setattr(named, "geometry_causes", without_other_balls)
    monkeypatch.setattr(causes_in_shops, "PLANTS", {"another probe's ball": PLANTS["another probe's ball"]})
    (found,) = run(12, SEED).values()
    assert found.named == 0
