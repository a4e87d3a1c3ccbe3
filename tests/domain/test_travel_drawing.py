"""The travel beside its form: to one scale, numbers where they lie, and what was typed wrong is seen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from webapp.domain.drawing.travel import Ends, TravelDrawing, VisePlace, draw_travel

MM = 1_000_000
ENDS: dict[str, Ends] = {"X": (-800 * MM, 0), "Y": (-400 * MM, 0), "Z": (-200 * MM, 0)}


def drawn(ends: Mapping[str, Ends] = ENDS, *vises: VisePlace) -> TravelDrawing:
    texts = {axis: (f"{axis} low", f"{axis} high") for axis in ends}
    found = draw_travel(ends, texts, vises)
    assert found is not None
    return found


def shapes(found: TravelDrawing, role: str) -> list[Any]:
    return [one for one in found["shapes"] if one["role"] == role]


def says(found: TravelDrawing) -> list[str]:
    return [str(one["code"]) for one in found["shapes"] if "code" in one]


def at(found: TravelDrawing, text: str) -> tuple[float, float]:
    """Where this text stands."""
    one = next(one for one in found["shapes"] if one.get("text") == text)
    return float(one["x"]), float(one["y"])


def test_all_three_axes_are_drawn_to_one_scale_and_inside_the_drawing() -> None:
    found = drawn()
    plan, bar = shapes(found, "fixed_jaw")
    assert plan["width"] / plan["height"] == pytest.approx(2, rel=0.01)
    assert plan["width"] / bar["height"] == pytest.approx(4, rel=0.01)
    for one in (plan, bar):
        assert one["x"] >= 0
        assert one["y"] >= 0
        assert one["x"] + one["width"] <= found["width"]
        assert one["y"] + one["height"] <= found["height"]


def test_an_end_ten_times_too_large_is_seen() -> None:
    found = drawn({**ENDS, "Z": (-2_000 * MM, 0)})
    plan, bar = shapes(found, "fixed_jaw")
    assert bar["height"] > 2 * plan["width"]
    assert bar["y"] + bar["height"] <= found["height"], "and still inside the drawing"


def test_low_stands_left_and_below_and_nothing_is_said_where_all_is_right() -> None:
    found = drawn()
    assert at(found, "X low")[0] < at(found, "X high")[0]
    for axis in ("Y", "Z"):
        assert at(found, f"{axis} low")[1] > at(found, f"{axis} high")[1]
    assert not {"drawing.travel_turned", "drawing.travel_outside"} & set(says(found))


@pytest.mark.parametrize("axis", ["X", "Y", "Z"])
def test_an_axis_typed_the_wrong_way_round_is_broken_its_arrow_points_against_the_others_and_it_is_said(
    axis: str,
) -> None:
    low, high = ENDS[axis]
    right, turned = drawn(), drawn({**ENDS, axis: (high, low)})
    assert len(shapes(turned, "moving_jaw")) == 1
    assert next(one for one in turned["shapes"] if one.get("code") == "drawing.travel_turned")["fields"] == {
        "axes": axis
    }
    # What was typed as low is the larger number: it still stands where it lies.
    assert at(turned, f"{axis} low") == at(right, f"{axis} high")
    arrows = [[one["d"] for one in shapes(found, "axis")] for found in (right, turned)]
    assert sum(one != other for one, other in zip(*arrows, strict=True)) == 1


def test_ends_that_are_the_same_are_said_too() -> None:
    assert "drawing.travel_turned" in says(drawn({**ENDS, "Y": (5, 5)}))


def test_what_is_not_typed_yet_is_broken_and_nothing_is_drawn_without_one_axis() -> None:
    found = drawn({**ENDS, "Y": (None, 0), "Z": (None, None)})
    assert [len(shapes(found, role)) for role in ("fixed_jaw", "moving_jaw", "axis")] == [0, 2, 1]
    assert "drawing.travel_turned" not in says(found)
    nothing: dict[str, Ends] = {"X": (0, None), "Y": (None, 3), "Z": (7, 7)}
    assert draw_travel(nothing, dict.fromkeys(nothing, ("", ""))) is None


def test_a_vise_stands_where_its_values_say_and_outside_it_is_said() -> None:
    found = drawn(ENDS, VisePlace("Vise A", -600 * MM, -100 * MM))
    (plan, _), (circle,) = shapes(found, "fixed_jaw"), shapes(found, "ball")
    assert circle["cx"] == pytest.approx(plan["x"] + plan["width"] / 4, abs=0.2)
    assert circle["cy"] == pytest.approx(plan["y"] + plan["height"] / 4, abs=0.2)
    assert at(found, "Vise A")[0] > circle["cx"]
    outside = drawn(ENDS, VisePlace("Vise A", 10 * MM, -100 * MM))
    assert shapes(outside, "ball") == []
    assert "drawing.travel_outside" in says(outside)
