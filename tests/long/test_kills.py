"""A slice of the kills: each kind of work once, and an event that is dropped is found."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.long.kills import WORKS, rounds, shop_in
from webapp.store.repositories.events import EventsRepository


def test_what_was_said_holds_after_a_kill_in_the_middle_of_anything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "shop").mkdir()
    shop = shop_in(tmp_path / "shop")
    found = rounds(shop, len(WORKS), lambda _: None)
    ended = ("in the middle", "behind its end")
    assert all(sum(found[f"{kind}, {where}"] for where in ended) == 1 for kind in WORKS)
    kept = EventsRepository.add_events

    def drop(self: EventsRepository, rows: Any) -> None:
        kept(self, rows[:-1])

    monkeypatch.setattr(EventsRepository, "add_events", drop)
    with pytest.raises(AssertionError, match="lost"):
        rounds(shop, 20, lambda _: None)
