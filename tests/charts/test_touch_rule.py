"""A touch on its small rule: where the mark stands, and what is drawn without a usual."""

from __future__ import annotations

import re

import pytest

from webapp.charts.touch_rule import FARTHEST, MIDDLE, TO_STOP, draw_touch_rule, place_of


@pytest.mark.parametrize(
    ("difference_nm", "place"),
    [
        (0, MIDDLE),
        (45_000, MIDDLE + TO_STOP),
        (-45_000, MIDDLE - TO_STOP),
        (22_500, MIDDLE + TO_STOP / 2),
        (10**9, MIDDLE + FARTHEST),
        (-(10**9), MIDDLE - FARTHEST),
    ],
)
def test_a_mark_stands_in_proportion_to_the_stop_line_and_never_off_the_rule(
    difference_nm: int, place: float
) -> None:
    assert place_of(difference_nm, 45_000) == pytest.approx(place)


def test_band_and_stop_lines_stand_on_both_sides_and_the_mark_has_its_verdict() -> None:
    drawn = draw_touch_rule(-30_000, 31_000, 45_000, "ask")
    stops = [float(x) for x in re.findall(r'class="stop-line" x1="([\d.]+)"', drawn)]
    assert stops == [MIDDLE - TO_STOP, MIDDLE + TO_STOP]
    band = re.search(r'class="ask-band" x="([\d.]+)" y="12" width="([\d.]+)"', drawn)
    assert band
    assert float(band[1]) + float(band[2]) / 2 == pytest.approx(MIDDLE, abs=0.1)
    assert 'class="mark ask"' in drawn


def test_without_a_usual_the_rule_is_bare_and_without_a_touch_it_has_no_mark() -> None:
    assert draw_touch_rule(None, None, None, "first").count("<line") == 1
    assert "mark" not in draw_touch_rule(None, 31_000, 45_000, "")
