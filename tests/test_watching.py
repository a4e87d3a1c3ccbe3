"""What the server looks at by itself: at its start and daily, with a waiting that a test decides about."""

from __future__ import annotations

import logging
import shutil
import sqlite3
from pathlib import Path

import pytest

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from tests.kit.tampering import without_triggers
from webapp.server import watching
from webapp.services.audit import auditing


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made")
    House(folder, fixed_keyring(folder / "keys", Clock())).store.close()
    return folder


@pytest.fixture
def house(tmp_path: Path, made: Path) -> House:
    shutil.copytree(made, tmp_path / "shop")
    keyring = fixed_keyring(tmp_path / "keys", Clock())
    return House(tmp_path / "shop", keyring, loaded=True)


class Waiting:
    """Goes on for so many rounds; each wait moves the clock on."""

    def __init__(self, clock: Clock, rounds: int) -> None:
        self.clock, self.rounds, self.waited = clock, rounds, []

    def __call__(self, seconds: float) -> bool:
        self.waited.append(seconds)
        self.clock.forward(seconds=seconds)
        return len(self.waited) <= self.rounds


def audit_of(house: House) -> watching.Audit:
    return lambda: auditing.run(house.store, house.clock()).as_dict()


def test_it_looks_after_the_first_pause_and_then_once_a_day(house: House) -> None:
    waiting = Waiting(house.clock, rounds=3)
    terms = watching.Terms(house.keyring.seal_certificate)
    assert watching.watch(audit_of(house), terms, house.clock, waiting, first_pause_s=7) == 3
    assert waiting.waited == [7, *[24 * 60 * 60] * 3]
    with house.store.reading():
        days = [row["at_utc"][:10] for row in house.store.ledger.changes(kind="audit.ran")]
    assert days == ["2026-11-27", "2026-11-26", "2026-11-25"]


def test_a_seal_that_is_about_to_end_is_told_once_a_day(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    house.clock.forward(days=3650 - 60)
    watching.watch(
        audit_of(house),
        watching.Terms(house.keyring.seal_certificate),
        house.clock,
        Waiting(house.clock, rounds=2),
        7,
    )
    told = [row.message for row in caplog.records if "renew-seal" in row.message]
    assert [message.partition("in ")[2][:7] for message in told] == ["59 days", "58 days"]


def test_it_stops_when_the_waiting_is_over(house: House) -> None:
    assert (
        watching.watch(
            audit_of(house),
            watching.Terms(house.keyring.seal_certificate),
            house.clock,
            Waiting(house.clock, rounds=0),
        )
        == 0
    )
    assert auditing.last_run(house.store) is None


def test_what_it_finds_is_logged_by_record(house: House, caplog: pytest.LogCaptureFixture) -> None:
    house.sheet()
    house.store.close()
    connection = sqlite3.connect(house.folder / "zerokeep.db")
    with without_triggers(connection.execute):
        connection.execute("UPDATE sheet SET text = text || ' '")
    connection.commit()
    connection.close()
    with caplog.at_level(logging.INFO):
        assert watching.look(audit_of(house))
    assert any(
        row.levelno == logging.ERROR and "A setup sheet was changed: sheet " in row.message
        for row in caplog.records
    )


def test_a_look_that_fails_is_logged_and_the_next_one_comes(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    # In place of the database lies something else until the second look.
    waiting = Waiting(house.clock, rounds=2)
    house.store.close()
    database, aside = house.folder / "zerokeep.db", house.folder / "aside.db"
    database.rename(aside)
    database.write_bytes(b"no database at all" * 100)

    def wait(seconds: float) -> bool:
        if len(waiting.waited) == 1:
            house.store.close()
            aside.replace(database)
        return waiting(seconds)

    terms = watching.Terms(house.keyring.seal_certificate)
    assert watching.watch(audit_of(house), terms, house.clock, wait) == 1
    assert "the audit could not be done" in caplog.text
    assert waiting.waited == [watching.FIRST_PAUSE_S, watching.AGAIN_S, watching.DAY_S]
