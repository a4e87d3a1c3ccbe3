"""A slice of the flipped bytes, with other bytes than the long run's."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.long.flips import FOUND, NO_MEANING, flips, shop_in

A_SLICE = 15
SEED = 7


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("flipped") / "shop"
    folder.mkdir()
    shop_in(folder)
    return folder


def test_flipped_bytes_are_found_or_mean_nothing(shop: Path, tmp_path: Path) -> None:
    counted = flips(shop, tmp_path / "copy", A_SLICE, SEED, lambda _: None)
    assert counted.total() == A_SLICE
    assert counted[FOUND]


def test_a_byte_that_means_something_else_and_is_not_found_ends_the_run(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tests.long.flips.seen", lambda _: NO_MEANING)
    with pytest.raises(AssertionError, match=r"nobody saw it|means something else"):
        flips(shop, tmp_path / "copy", A_SLICE, SEED, lambda _: None)
