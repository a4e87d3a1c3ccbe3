"""The arrays draw what the program draws, and a program that draws otherwise is seen."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from tests.quality import twins
from tests.quality.histories import CONTROLS
from webapp.domain.figures import alike, neighbours, spread
from webapp.domain.usual import usual

SEED = 20261130


@pytest.mark.parametrize(("n", "before"), twins.SHAPES)
def test_the_arrays_draw_what_the_program_draws(n: int, before: int) -> None:
    chance = np.random.default_rng([SEED, n, before])
    for control in CONTROLS:
        assert all(one.is_alike for one in twins.twins(chance, control, n, before, 40))


def all_of_them(known: dict[int, object], _current: int, _step_nm: int) -> list[int]:
    return list(known)


@pytest.mark.parametrize(
    ("room", "name", "planted"),
    [
        (spread, "prediction_half_width", lambda whole: lambda *given: 2 * whole(*given)),
        (spread, "prediction_half_width", lambda whole: lambda *given: 1.1 * whole(*given)),
        (spread, "prediction_half_width", lambda whole: lambda *given: 0.9 * whole(*given)),
        (alike, "_scatters_more", lambda _: lambda *_given: False),
        (alike, "_alike", lambda _: all_of_them),
        (neighbours, "set_aside", lambda _: lambda *_given: None),
        (usual, "shown_step_nm", lambda _: lambda _values, display: display.resolution_nm),
    ],
)
def test_a_line_drawn_otherwise_or_a_check_taken_out_is_seen(
    monkeypatch: pytest.MonkeyPatch,
    room: object,
    name: str,
    planted: Callable[[Callable[..., object]], object],
) -> None:
    monkeypatch.setattr(room, name, planted(getattr(room, name)))
    # What the arrays themselves call stands as it was.
    (row,) = twins.rows(4_000, SEED)
    assert row.verdict == "DOES NOT HOLD"
