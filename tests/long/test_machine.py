"""A few runs of the machine that are always the same, and faults planted in the program that it finds.

What Hypothesis draws also hangs on which modules are loaded, so a planted fault is looked for in many runs:
the first one that finds it ends them.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from tests.long.machine import Lasting, in_file, play
from webapp.services.intake import chain
from webapp.store.repositories.events import EventsRepository

MANY = 150


@pytest.fixture(scope="module")
def machine(tmp_path_factory: pytest.TempPathFactory) -> type[Lasting]:
    folder = tmp_path_factory.mktemp("machine")
    keyring = fixed_keyring(folder / "keys", Clock())
    (folder / "shop").mkdir()
    House(folder / "shop", keyring).store.close()
    return in_file(folder / "shop", keyring)


def test_nothing_is_lost_or_doubled_and_every_fork_is_seen(machine: type[Lasting]) -> None:
    play(machine, 8, always_the_same=True)


def test_an_event_that_is_dropped_is_found(machine: type[Lasting], monkeypatch: pytest.MonkeyPatch) -> None:
    kept = EventsRepository.add_events

    def drop(self: EventsRepository, rows: Any) -> None:
        kept(self, rows[:-1] if len(rows) > 3 else rows)

    monkeypatch.setattr(EventsRepository, "add_events", drop)
    with pytest.raises(AssertionError, match="lost"):
        play(machine, MANY, always_the_same=True)


def test_a_fork_that_is_not_told_is_found(machine: type[Lasting], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chain.Chain, "newly_forked", property(lambda _: {}, lambda *_: None))
    with pytest.raises(AssertionError):
        play(machine, MANY, always_the_same=True)
