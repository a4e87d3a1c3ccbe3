"""The simulated mill answers with the truth, the scatter and the mistake that was asked for."""

from statistics import mean

import pytest

from tests.kit.mill import TRUTH, mill, with_probe
from webapp.demo.mill import Mistake, NoProbeInSpindleError, NoSuchSlotError
from webapp.demo.mill.probing import PLAY_NM


def test_a_clean_touch_shows_where_the_face_stands_and_writes_the_selected_slot() -> None:
    machine = with_probe()
    assert machine.touch("X") == -413_331_000
    assert machine.shown_nm()["X"] == -413_331_000
    assert machine.slots_nm["G54"]["X"] == 0


def test_a_ball_left_out_shows_one_radius_too_far_along_the_normal() -> None:
    machine = with_probe()
    assert machine.touch("X", Mistake(ball_left_out=True)) == -413_331_000 - 3_000_000
    assert machine.touch("Z", Mistake(ball_left_out=True)) == -287_450_000 + 3_000_000
    assert machine.touch("X", Mistake(chip_nm=400_000)) == -413_331_000 - 400_000
    assert machine.touch("X") == -413_331_000


def test_the_moving_jaw_answers_one_opening_away_and_only_where_there_is_one() -> None:
    machine = with_probe()
    found = machine.touch("Y", Mistake(moving_jaw=True))
    assert found == pytest.approx(-102_004_000 - 82_000_000, abs=5 * PLAY_NM)
    assert machine.touch("Y", Mistake(moving_jaw=True)) != found, "that jaw has play in its slide"
    assert machine.touch("Z", Mistake(moving_jaw=True)) == -287_450_000


def test_no_probe_no_touch() -> None:
    with pytest.raises(NoProbeInSpindleError) as refused:
        mill().touch("X")
    assert refused.value.fields == {"shown": "1", "expected": "30"}


def test_a_slot_that_the_control_lacks_is_refused() -> None:
    with pytest.raises(NoSuchSlotError):
        mill().select_slot("G99")


def test_clearing_zeroes_the_selected_slot_alone() -> None:
    machine = with_probe()
    machine.touch("X")
    machine.select_slot("G55")
    machine.touch("X")
    assert machine.clear_selected() == {"X": 0, "Y": 0, "Z": 0}
    assert machine.slots_nm["G56"]["X"] == -413_331_000


def test_scatter_stays_on_the_grid_of_the_display_around_the_truth_and_a_seed_gives_it_again() -> None:
    shown = [with_probe(4_000.0, seed).touch("Y") for seed in range(200)]
    assert all(value % 1_000 == 0 for value in shown)
    assert abs(mean(shown) - TRUTH.surface_nm["Y"]) < 4 * 4_000 / 200**0.5
    assert with_probe(4_000.0, 7).touch("Y") == with_probe(4_000.0, 7).touch("Y")
