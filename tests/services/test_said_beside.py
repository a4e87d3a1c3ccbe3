"""What the audit reads of the ledger beside setups, it reads once."""

from __future__ import annotations

from typing import Any

import pytest

from tests.kit.house import House
from webapp.services.audit import values
from webapp.services.audit.said_beside import SaidBeside
from webapp.services.numbers import past_values, seatings
from webapp.services.shop import slots
from webapp.store.repositories.ledger import LedgerRepository


@pytest.fixture
def asked_after(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, int]]:
    """From which place on entries were asked for, each with the first of their kinds."""
    asked: list[tuple[str, int]] = []
    changes_of = LedgerRepository.changes_of

    def noted(self: LedgerRepository, kinds: Any, after: int, most: int) -> Any:
        asked.append((kinds[0], after))
        return changes_of(self, kinds, after, most)

    monkeypatch.setattr(LedgerRepository, "changes_of", noted)
    return asked


def told(said: SaidBeside) -> Any:
    return said.words, said.slots, said.levels_since_utc


def test_it_goes_on_from_where_it_was_and_comes_to_the_same(
    house: House, asked_after: list[tuple[str, int]]
) -> None:
    said = SaidBeside(house.store)
    with house.store.reading():
        said.read()
        size = house.store.ledger.size()
    assert min(after for _, after in asked_after) == -1
    assert said.slots
    slots.keep_slot(house.store, "mill-1", "G57", "ines", house.clock())
    house.clock.forward(minutes=5)
    seatings.start_seating(house.store, "vise-a", "vise-a-2", "Trammed.", "ines", house.clock())
    for _ in range(2):
        asked_after.clear()
        with house.store.reading():
            said.read()
        assert all(after >= 0 for _, after in asked_after)
    assert max(after for _, after in asked_after) >= size
    anew = SaidBeside(house.store)
    with house.store.reading():
        anew.read()
    assert told(said) == told(anew)
    assert [start.seating for _, start in said.words.starts["vise-a"]] == ["vise-a-1", "vise-a-2"]


def test_what_leads_said_of_values_is_read_once_for_all_tables(
    house: House, asked_after: list[tuple[str, int]]
) -> None:
    head = "at_utc,machine,fixture,seating,person,x_mm,y_mm,z_mm\n"
    for day in ("2026-11-10", "2026-11-11", "2026-11-12"):
        table = f"{head}{day},mill-1,vise-a,vise-a-1,mara,-381.210,-152.410,-300.010\n".encode()
        past_values.take_in(
            house.store,
            lambda table=table: [table],
            f"{day}.csv",
            "ines",
            house.clock(),  # type: ignore[misc]
        )
    asked_after.clear()
    assert list(values.misfits_of_tables(house.store)) == []
    assert [kind for kind, after in asked_after if after == -1] == ["history.imported", "seating.started"]
