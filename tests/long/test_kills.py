"""A slice of the kills: each kind of work once, and an event that is dropped is found."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.long.kills import WORKS, rounds, shop_in
from webapp.store.repositories.setups import SetupsRepository


def test_what_was_said_holds_after_a_kill_in_the_middle_of_anything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "shop").mkdir()
    shop = shop_in(tmp_path / "shop")
    found = rounds(shop, len(WORKS), lambda _: None)
    ended = ("in the middle", "behind its end")
    assert all(sum(found[f"{kind}, {where}"] for where in ended) == 1 for kind in WORKS)
    kept = SetupsRepository.add_events

    def drop(self: SetupsRepository, rows: Any) -> None:
        kept(self, rows[:-1])

    monkeypatch.setattr(SetupsRepository, "add_events", drop)
    with pytest.raises(AssertionError, match="lost"):
        rounds(shop, 20, lambda _: None)
