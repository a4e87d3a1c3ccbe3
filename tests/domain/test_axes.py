"""Directions of faces and searches."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.axes import Axis, Direction, Face, search_direction, turned
from webapp.domain.plain.length_errors import NormalNotAlongAxisError
from webapp.words import say

faces = st.builds(Face, st.sampled_from(Axis), st.sampled_from([1, -1]))
lengths_nm = st.integers(-(10**9), 10**9)


@pytest.mark.parametrize("normal", [0, 2, -2])
def test_a_normal_that_is_no_direction_is_refused(normal: int) -> None:
    with pytest.raises(NormalNotAlongAxisError) as refused:
        Face(Axis.Y, normal)
    assert refused.value.fields == {"axis": "Y", "normal": normal}


def test_a_face_on_an_unknown_axis_is_refused() -> None:
    with pytest.raises(ValueError, match="'W'"):
        Face("W", 1)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("axis", "sense", "label", "words"),
    [
        (Axis.X, 1, "X+", "to the right"),
        (Axis.X, -1, "X−", "to the left"),
        (Axis.Y, 1, "Y+", "away from you"),
        (Axis.Y, -1, "Y−", "towards you"),
        (Axis.Z, 1, "Z+", "up"),
        (Axis.Z, -1, "Z−", "down"),
    ],
)
def test_a_direction_is_said_as_the_operator_sees_it(axis: Axis, sense: int, label: str, words: str) -> None:
    direction = Direction(axis, sense)
    assert direction.label == label
    assert say(direction.words_code) == words


@given(faces)
def test_the_search_goes_against_the_normal(face: Face) -> None:
    assert search_direction(face).axis is face.axis
    assert search_direction(face).sense == -face.normal


@given(faces, st.integers(-9, 9), st.integers(-9, 9))
def test_turns_add_up(face: Face, first: int, second: int) -> None:
    assert turned(turned(face, first), second) == turned(face, first + second)


@given(faces)
def test_four_quarter_turns_change_nothing_and_two_face_the_other_way(face: Face) -> None:
    assert turned(face, 4) == face
    if face.axis is Axis.Z:
        assert turned(face, 2) == face
    else:
        assert turned(face, 2) == Face(face.axis, -face.normal)


def test_a_quarter_turn_takes_the_right_to_the_back() -> None:
    assert turned(Face(Axis.X, 1), 1) == Face(Axis.Y, 1)
    assert turned(Face(Axis.Y, 1), 1) == Face(Axis.X, -1)
    assert turned(Face(Axis.X, 1), -1) == Face(Axis.Y, -1)
