"""An inch shop and a metric shop with the same vise: the same verdicts, causes and signals.

The two displays cannot show the same values: 0.001 mm against 0.00254 mm. Values lie on what both can show
(0.127 mm is 0.0050 in), and a touch is judged alike wherever it does not lie within three coarse steps of a
line.
"""

from __future__ import annotations

from typing import Any

from hypothesis import assume, given
from hypothesis import strategies as st

from webapp.domain.causes.facts import Measures, known_axis
from webapp.domain.causes.named import AxisFacts, name_causes, prepare
from webapp.domain.plain.axes import Axis, Face
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.usual import FloorInputs, LinesChoice, SeatingValues, Usual, usual, verdict

METRIC, INCH = Display(Unit.MM, 3), Display(Unit.INCH, 4)
BOTH_SHOW_NM = 127_000
COARSE_NM = INCH.resolution_nm
FLOOR = FloorInputs(1_500, 2_000, 4_000)
CHOICE = LinesChoice(ceiling_nm=10**9)
MEASURES = Measures(
    2_996_000, 1_000, jaw_length_nm=150_000_000, jaw_thickness_nm=25_000_000, opening_nm=90_000_000
)
FACE = Face(Axis.X, -1)
TRAVEL = (-762_000_000, 0)

steps = st.lists(st.integers(-3, 3), min_size=3, max_size=30)
settled = st.lists(st.integers(-3, 3), min_size=12, max_size=30)


def lines(found: Usual) -> tuple[int, int]:
    assert found.ask_nm is not None
    assert found.stop_nm is not None
    return found.ask_nm, found.stop_nm


def in_both(offsets: list[int]) -> list[Usual]:
    values = [(-3_000 + offset) * BOTH_SHOW_NM for offset in offsets]
    return [usual([SeatingValues.of("a", values)], FLOOR, CHOICE, display) for display in (METRIC, INCH)]


def coarse_nm(metric: Usual, inch: Usual) -> int:
    """The coarser step of both.
    Values that all end in 0 or 5 are taken to come from a display that counts in fives.
    """
    found = max(metric.step_nm or 0, inch.step_nm or 0)
    assert found in (COARSE_NM, 5 * COARSE_NM)
    return found


@given(settled, st.integers(-40, 40))
def test_the_same_touch_of_the_same_vise_gets_the_same_verdict(offsets: list[int], touch: int) -> None:
    metric, inch = in_both(offsets)
    value = (-3_000 + touch) * BOTH_SHOW_NM
    for found in (metric, inch):
        centre = found.centre_nm or 0
        assume(all(abs(abs(value - centre) - line) > 3 * coarse_nm(metric, inch) for line in lines(found)))
    assert verdict(value, metric) == verdict(value, inch)


@given(settled)
def test_lines_differ_by_no_more_than_two_of_the_coarse_displays_steps(offsets: list[int]) -> None:
    """From twelve values on.
    Before that the lines' factor multiplies what each display may hide: up to four steps.
    """
    metric, inch = in_both(offsets)
    coarse = coarse_nm(metric, inch)
    assert abs((metric.centre_nm or 0) - (inch.centre_nm or 0)) <= coarse
    for one, other in zip(lines(metric), lines(inch), strict=True):
        assert abs(one - other) <= 2 * coarse


@given(steps)
def test_a_ball_left_out_is_the_likeliest_cause_in_both(offsets: list[int]) -> None:
    for display, found in zip((METRIC, INCH), in_both(offsets), strict=True):
        known = known_axis(FACE, found, CHOICE)
        assume(known.chance_nm is not None and known.chance_nm < 2_000_000)
        section = prepare("X", {"X": AxisFacts(known, "left_end", TRAVEL)}, MEASURES, display)
        plain: dict[str, Any] = {"centre_nm": found.centre_nm, "ask_nm": found.ask_nm}
        value = round(((found.centre_nm or 0) - 2_996_000) / display.resolution_nm) * display.resolution_nm
        named = name_causes(value, section, plain, display)
        assert "cause.ball_left_out" in {one["code"] for one in named if one["alike"]}
