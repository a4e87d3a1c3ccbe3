"""The drawing of a touch: to scale, from the fixture's own directions, legible, in words too."""

import json
import math
import re
from dataclasses import replace
from typing import Any

import pytest

from tests.kit.shop import PROBE as STYLUS
from webapp.domain.drawing.canvas import hatch
from webapp.domain.drawing.drawing import (
    Drawing,
    DrawingFaceUnknownError,
    DrawingMeasureNotPositiveError,
    Vise,
    draw_touch,
)
from webapp.domain.drawing.stylus import draw_stylus
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.plain.lengths import Display, Unit, format_length
from webapp.words import say

MM = 1_000_000
BALL = 6 * MM
IN_MM = Display(Unit.MM, 3)
IN_INCHES = Display(Unit.INCH, 4)
APPROACH = {"gap_low_nm": MM, "gap_high_nm": 5_350_000, "range_nm": 6_350_000}
AT_THE_BACK = Vise(150 * MM, 20 * MM, 40 * MM, 60 * MM, clamping_axis="Y", clamping_direction=-1)
TURNED = replace(AT_THE_BACK, clamping_axis="X", clamping_direction=1)
CASES = [
    (AT_THE_BACK, "X", "left_end", -1),
    (AT_THE_BACK, "X", "right_end", 1),
    (AT_THE_BACK, "Y", "front", -1),
    (AT_THE_BACK, "Y", "back", 1),
    (AT_THE_BACK, "Z", "top", 1),
    (TURNED, "Y", "left_end", -1),
    (TURNED, "X", "front", 1),
    (TURNED, "Z", "top", 1),
]
every_case = pytest.mark.parametrize(("vise", "axis", "face", "normal"), CASES)


def drawn(
    vise: Vise, axis: str, face: str, normal: int, display: Display = IN_MM, approach: Any = APPROACH
) -> Drawing:
    return draw_touch(vise, BALL, approach, axis, face, normal, display)


def with_role(shapes: list[dict[str, Any]], role: str) -> list[dict[str, Any]]:
    return [shape for shape in shapes if shape["role"] == role]


def texts(drawing: Drawing) -> list[str]:
    shapes = [*drawing["shapes"], *drawing["compact"]["shapes"]]
    return [
        say(shape["code"], shape["fields"]) if "code" in shape else shape["text"]
        for shape in shapes
        if shape["kind"] == "text"
    ]


@every_case
def test_the_small_drawing_names_the_search_and_the_fixed_jaw_and_shows_the_moving_one(
    vise: Vise, axis: str, face: str, normal: int
) -> None:
    small = drawn(vise, axis, face, normal)["small"]
    label, name = [shape for shape in small["shapes"] if shape["kind"] == "text"]
    assert name["code"] == "drawing.fixed_jaw"
    assert name["size"] >= 20
    assert with_role(small["shapes"], "moving_jaw")
    assert len(with_role(small["shapes"], "fixed_jaw")) >= 2, (
        "beside the ball, and whole beside the moving jaw"
    )
    assert label["text"] == f"{axis}{'−' if normal > 0 else '+'}"
    assert label["size"] >= 20
    ball = max(with_role(small["shapes"], "ball"), key=lambda shape: shape["r"])
    assert ball["r"] >= 12, "can be seen at one unit to a pixel"
    assert ball["r"] <= ball["cx"] <= small["width"] - ball["r"]
    assert ball["r"] <= ball["cy"] <= small["height"] - ball["r"]


def both(drawing: Drawing) -> list[tuple[int, int, list[dict[str, Any]]]]:
    compact = drawing["compact"]
    return [
        (drawing["width"], drawing["height"], drawing["shapes"]),
        (compact["width"], compact["height"], compact["shapes"]),
    ]


@every_case
def test_ball_window_and_range_have_one_scale(vise: Vise, axis: str, face: str, normal: int) -> None:
    for _, _, shapes in both(drawn(vise, axis, face, normal)):
        scale = with_role(shapes, "ball")[0]["r"] / 3.0
        window = with_role(shapes, "start_window")[0]
        across = "width" if with_role(shapes, "search_label")[0]["text"][0] == "X" else "height"
        assert window[across] == pytest.approx(4.35 * scale, abs=0.2)
        start, end = arrow_ends(with_role(shapes, "dimension"))
        assert math.dist(start, end) == pytest.approx(6.35 * scale, abs=0.3)


def arrow_ends(dimensions: list[dict[str, Any]]) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """The range is the one dimension that is an arrow: M start L neck, M wing L point L wing Z."""
    (path,) = [shape["d"] for shape in dimensions if shape["kind"] == "path"]
    numbers = [float(number) for number in re.findall(r"-?[\d.]+", path)]
    return tuple(numbers[0:2]), tuple(numbers[6:8])


@every_case
def test_the_ball_stands_on_the_side_the_face_looks_to(vise: Vise, axis: str, face: str, normal: int) -> None:
    for _, _, shapes in both(drawn(vise, axis, face, normal)):
        ball, window = with_role(shapes, "ball")[0], with_role(shapes, "start_window")[0]
        scale = ball["r"] / 3.0
        face_line = next(line for line in with_role(shapes, "fixed_jaw") if line["kind"] == "line")
        if axis == "X":
            gap = (ball["cx"] - face_line["x1"]) * normal / scale - 3.0
            assert face_line["x1"] == face_line["x2"]
            near = window["x"] if normal > 0 else window["x"] + window["width"]
            assert (near - face_line["x1"]) * normal / scale == pytest.approx(1.0, abs=0.05)
        else:
            gap = (face_line["y1"] - ball["cy"]) * normal / scale - 3.0
            assert face_line["y1"] == face_line["y2"]
        assert gap == pytest.approx((1.0 + 5.35) / 2, abs=0.05)


@every_case
def test_the_search_is_named_against_the_normal(vise: Vise, axis: str, face: str, normal: int) -> None:
    label = f"{axis}{'−' if normal > 0 else '+'}"
    assert label in texts(drawn(vise, axis, face, normal))


@every_case
def test_the_locator_keeps_the_vise_s_proportions(vise: Vise, axis: str, face: str, normal: int) -> None:
    for _, _, shapes in both(drawn(vise, axis, face, normal)):
        fixed = next(shape for shape in with_role(shapes, "fixed_jaw") if shape["kind"] == "rect")
        moving = next(shape for shape in with_role(shapes, "moving_jaw") if shape["kind"] == "rect")
        thickness, other = ("width", "height") if vise is TURNED or axis == "Z" else ("height", "width")
        long_side = 40 if axis == "Z" else 150
        assert fixed[other] / fixed[thickness] == pytest.approx(long_side / 20, rel=0.05)
        position = {"width": "x", "height": "y"}[thickness]
        opening = abs(moving[position] - fixed[position]) / fixed[thickness] * 20 - 20
        assert opening == pytest.approx(60, rel=0.05)


def test_a_turned_vise_has_its_moving_jaw_where_the_clamping_face_looks() -> None:
    shapes = drawn(TURNED, "X", "front", 1)["shapes"]
    fixed = next(shape for shape in with_role(shapes, "fixed_jaw") if shape["kind"] == "rect")
    moving = with_role(shapes, "moving_jaw")[0]
    assert moving["x"] > fixed["x"]
    assert moving["y"] == fixed["y"]


def test_a_jaw_longer_than_the_picture_is_cut_and_a_short_one_is_not() -> None:
    long_jaw = drawn(AT_THE_BACK, "X", "left_end", -1)
    short_jaw = drawn(replace(AT_THE_BACK, jaw_length_nm=15 * MM), "X", "left_end", -1)
    assert len(with_role(long_jaw["shapes"], "cut")) == 1
    assert with_role(short_jaw["shapes"], "cut") == []


def test_the_numbers_are_in_the_machine_s_unit_and_resolution() -> None:
    assert "gap 1.0 to 5.4 mm" in texts(drawn(AT_THE_BACK, "X", "left_end", -1))
    assert "search at most 0.2500 in" in texts(drawn(AT_THE_BACK, "X", "left_end", -1, IN_INCHES))


def test_without_an_approach_the_drawing_says_that_there_is_no_start_window() -> None:
    drawing = drawn(AT_THE_BACK, "Y", "front", -1, approach=None)
    assert "no start window" in texts(drawing)
    assert with_role(drawing["shapes"], "start_window") == []
    assert "No start window" in say(drawing["words"]["code"], drawing["words"]["fields"])


@every_case
def test_every_drawing_is_told_in_words(vise: Vise, axis: str, face: str, normal: int) -> None:
    words = drawn(vise, axis, face, normal)["words"]
    sentence = say(words["code"], words["fields"])
    assert "1.0 to 5.4 mm" in sentence
    assert "never touch it" in sentence
    assert ("from above" in sentence) == (axis != "Z")


@every_case
def test_text_is_large_enough_and_stays_inside(vise: Vise, axis: str, face: str, normal: int) -> None:
    for display in (IN_MM, IN_INCHES):
        for width, height, shapes in both(drawn(vise, axis, face, normal, display)):
            for shape in shapes:
                if shape["kind"] == "text":
                    assert shape["size"] >= (15 if width == 720 else 14)
                    left, right = text_ends(shape)
                    assert left >= 0, shape
                    assert right <= width, shape
                    assert shape["size"] * 0.7 <= shape["y"] <= height, shape


def text_ends(shape: dict[str, Any]) -> tuple[float, float]:
    """Both ends of a text, with 0.56 of the size a character: more than a sans serif needs on average."""
    said = say(shape["code"], shape["fields"]) if "code" in shape else shape["text"]
    length = len(said) * shape["size"] * 0.56
    left = shape["x"] - {"start": 0.0, "middle": length / 2, "end": length}[shape["anchor"]]
    return left, left + length


@every_case
def test_texts_do_not_run_into_each_other(vise: Vise, axis: str, face: str, normal: int) -> None:
    for _, _, shapes in both(drawn(vise, axis, face, normal, IN_INCHES)):
        boxes = [
            (*text_ends(shape), shape["y"] - shape["size"] * 0.72, shape["y"])
            for shape in shapes
            if shape["kind"] == "text"
        ]
        for place, (left, right, top, bottom) in enumerate(boxes):
            for left2, right2, top2, bottom2 in boxes[:place]:
                assert right <= left2 or right2 <= left or bottom <= top2 or bottom2 <= top


def test_the_hatch_stays_inside_its_outline() -> None:
    outline = [(0.0, 0.0), (50.0, 0.0), (50.0, 20.0), (0.0, 20.0)]
    numbers = [float(number) for number in re.findall(r"-?[\d.]+", hatch(outline, 5))]
    points = list(zip(numbers[::2], numbers[1::2], strict=True))
    assert len(points) == 2 * 13
    assert all(-0.05 <= x <= 50.05 and -0.05 <= y <= 20.05 for x, y in points)
    assert all(
        x1 + y1 == pytest.approx(x2 + y2, abs=0.11)
        for (x1, y1), (x2, y2) in zip(points[::2], points[1::2], strict=True)
    )


def test_a_drawing_has_one_json_text() -> None:
    drawing = drawn(AT_THE_BACK, "Z", "top", 1)
    assert json.loads(canonical_text(drawing)) == drawing


@pytest.mark.parametrize("measure", ["jaw_length_nm", "jaw_thickness_nm", "jaw_height_nm", "opening_nm"])
def test_a_measure_of_zero_is_refused_by_name(measure: str) -> None:
    measures: Any = vars(AT_THE_BACK) | {measure: 0}
    with pytest.raises(DrawingMeasureNotPositiveError) as refused:
        drawn(Vise(**measures), "X", "left_end", -1)
    assert refused.value.fields["measure_code"] == f"drawing.{measure.removesuffix('_nm')}"
    assert say(refused.value.code, refused.value.fields)


@pytest.mark.parametrize(("axis", "face"), [("X", "front"), ("Y", "left_end"), ("Z", "front"), ("X", "edge")])
def test_a_face_that_does_not_lie_along_the_axis_is_refused(axis: str, face: str) -> None:
    with pytest.raises(DrawingFaceUnknownError):
        drawn(AT_THE_BACK, axis, face, 1)


def test_a_stylus_is_drawn_to_one_scale_with_all_that_was_typed_beside_it() -> None:
    drawn = draw_stylus(STYLUS, IN_MM)
    balls = [shape for shape in drawn["shapes"] if shape["kind"] == "circle" and shape["role"] == "ball"]
    (pushed, raised) = [shape for shape in drawn["shapes"] if shape["role"] == "start_window"]
    scale = 2 * balls[0]["r"] / (STYLUS.ball_diameter_nm / MM)
    assert pushed["cx"] - balls[1]["cx"] == pytest.approx(STYLUS.overtravel_side_nm / MM * scale, abs=1.5)
    assert balls[1]["cy"] - raised["cy"] == pytest.approx(STYLUS.overtravel_up_nm / MM * scale, abs=1.5)
    reach = next(shape for shape in drawn["shapes"] if shape.get("code") == "drawing.reach")
    assert reach["fields"]["reach"] == format_length(STYLUS.stylus_reach_nm, IN_MM, sign=False)
    assert all(0 <= shape.get("x", shape.get("cx", 0)) <= drawn["width"] for shape in drawn["shapes"])


@pytest.mark.parametrize(
    ("side_nm", "up_nm", "reach_nm"),
    [(120_000_000, 6_000_000, 50_000_000), (300_000, 300_000, 20_000_000), (1, 1, 300_000_000)],
)
def test_a_stylus_of_odd_measures_stays_on_its_paper(side_nm: int, up_nm: int, reach_nm: int) -> None:
    odd = replace(STYLUS, overtravel_side_nm=side_nm, overtravel_up_nm=up_nm, stylus_reach_nm=reach_nm)
    for shape in draw_stylus(odd, IN_MM)["shapes"]:
        if shape["kind"] == "circle":
            assert 0 <= shape["cx"] - shape["r"] <= shape["cx"] + shape["r"] <= 720
            assert 0 <= shape["cy"] - shape["r"] <= shape["cy"] + shape["r"] <= 300
