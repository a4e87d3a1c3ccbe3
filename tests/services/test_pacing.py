"""What a process remembers of how long steps took."""

from __future__ import annotations

import pytest

from tests.kit.grown import grow
from tests.kit.house import House
from webapp.services.setups import pacing


def test_of_more_setups_than_are_remembered_the_oldest_is_forgotten_and_no_other(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pacing, "_TIMES", {})
    monkeypatch.setattr(pacing, "MOST_REMEMBERED", 3)
    grow(house, 4)
    with house.store.reading():
        rows = house.store.setups.setups(status=("signed_off",))
        assert len(rows) == 4
        for row in (*rows, rows[3]):
            pacing._remembered(house.store, row)
    assert list(pacing._TIMES) == [(row["id"], row["last_at_utc"]) for row in rows[1:]]
