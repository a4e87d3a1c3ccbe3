"""Directions of faces and searches."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.axes import Axis, Direction, Face, search_direction, surface_from_trigger, turned
from webapp.domain.plain.errors import NormalNotAlongAxisError
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


@given(st.sampled_from(Axis), st.sampled_from([1, -1]))
def test_a_moving_table_goes_the_other_way_than_the_tool(axis: Axis, sense: int) -> None:
    assert Direction(axis, sense).table_words_code == Direction(axis, -sense).words_code


@given(faces)
def test_the_search_goes_against_the_normal(face: Face) -> None:
    assert search_direction(face).axis is face.axis
    assert search_direction(face).sense == -face.normal


@given(faces, lengths_nm, st.integers(0, 10**7))
def test_the_material_lies_beyond_the_ball(face: Face, trigger_nm: int, radius_nm: int) -> None:
    surface_nm = surface_from_trigger(trigger_nm, face, radius_nm)
    assert (trigger_nm - surface_nm) * face.normal == radius_nm


@given(faces, lengths_nm, st.integers(0, 10**7), lengths_nm)
def test_moving_the_trigger_moves_the_surface_as_far(
    face: Face, trigger_nm: int, radius_nm: int, constant_nm: int
) -> None:
    moved = surface_from_trigger(trigger_nm + constant_nm, face, radius_nm)
    assert moved == surface_from_trigger(trigger_nm, face, radius_nm) + constant_nm


def test_two_faces_of_a_block_are_apart_by_the_travel_less_the_ball() -> None:
    left = surface_from_trigger(-13_000_000, Face(Axis.X, -1), 3_000_000)
    right = surface_from_trigger(33_000_000, Face(Axis.X, 1), 3_000_000)
    assert (left, right) == (-10_000_000, 30_000_000)


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
