"""A shop that has run for long, put into the store without walking:
rows that lists are read from, ledger and all.

Only for what pages and calls cost: nothing here was signed.
Times and people go round, so that every filter finds some.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import UUID

from tests.kit.house import House
from tests.kit.shop import CENTRES_NM
from webapp.domain.plain.folding import folded
from webapp.domain.plain.json_strict import canonical_text
from webapp.services.times import utc_text

FIRST = datetime(2024, 1, 8, 7, 0, tzinfo=UTC)
SETUP = (
    "INSERT INTO setup (id, device, sheet, machine, person, status, outcome, signature, probe_in_spindle, "
    "started_at_utc, last_at_utc, sealed) VALUES (?, ?, ?, ?, ?, 'signed_off', 'complete', 'verified', ?, ?, "
    "?, ?)"
)
RECORD = "INSERT INTO record (setup, sha256, bytes, sealed_at_utc) VALUES (?, ?, ?, ?)"
VALUE = (
    "INSERT INTO kept_value (setup, axis, fixture, seating, value_nm, at_utc, left_out_reason, imported) "
    "VALUES (?, ?, 'vise-a', 'vise-a-1', ?, ?, NULL, NULL)"
)
TERM = "INSERT INTO setup_term (setup, term, started_at_utc) VALUES (?, ?, ?)"
WORDS = "INSERT INTO setup_words (setup, words, started_at_utc) VALUES (?, ?, ?)"
SAID = ("a chip on the floor", "the nut turned", "öl am taster")
CHANGE = "INSERT INTO change (position, text, type, by, subject, setup, at_utc) VALUES (?, ?, ?, ?, ?, ?, ?)"
EVENTS_A_SETUP = 3


def setup_id(number: int) -> str:
    """The id of one of these setups, counted from 0."""
    return str(UUID(int=(0xB0 << 120) | number))


def grow(
    house: House, setups: int, people: tuple[str, ...] = ("mara", "tomas", "ivo"), first: int = 0
) -> None:
    """Put so many setups that were signed off and sealed, less the `first` that are there,
    and some entries of the ledger for each, into the store.
    """
    sheets = {machine: house.sheet(machine)[0] for machine in ("mill-1", "mill-2")}
    rows, records, values, terms, words = [], [], [], [], []
    for number in range(first, setups):
        machine = "mill-1" if number % 3 else "mill-2"
        started = FIRST + timedelta(minutes=25 * number)
        times = utc_text(started), utc_text(started + timedelta(minutes=12))
        person = people[number % len(people)]
        rows.append((
            setup_id(number), house.device.id, sheets[machine], machine, person, False, *times, True
        ))  # fmt: skip
        values += [
            (setup_id(number), axis, CENTRES_NM[axis] + number * 7_919 % 40 * 1_000, times[1])
            for axis in CENTRES_NM
        ]
        records.append((setup_id(number), f"{number:064x}", 70_000, times[1]))
        terms += [(setup_id(number), term, times[0]) for term in terms_of(number)]
        if number % 5 == 0:
            words.append((setup_id(number), folded(SAID[number % 3]), times[0]))
    with house.store.writing():
        house.store._database.run_many(SETUP, rows)
        house.store._database.run_many(TERM, terms)
        house.store._database.run_many(WORDS, words)
        house.store._database.run_many(RECORD, records)
        house.store._database.run_many(VALUE, values)
        _grow_ledger(house, range(first, setups))


def terms_of(number: int) -> list[str]:
    """What one of these setups is found by."""
    found = [f"slot:G5{4 + number % 6}", "verdict:ask" if number % 4 == 0 else "verdict:agrees"]
    found += ["cause:chip"] if number % 7 == 0 else []
    return [*found, "worry:fell"] if number % 11 == 0 else found


def _grow_ledger(house: House, setups: range) -> None:
    texts, rows = [], []
    for number in setups:
        for nth in range(EVENTS_A_SETUP):
            at_utc = utc_text(FIRST + timedelta(minutes=25 * number, seconds=nth))
            data = {"domain": "zerokeep/change/1", "type": "session.started", "by": "mara", "subject": "mara",
                    "setup": None, "data": {"number": number, "nth": nth}, "at_utc": at_utc}  # fmt: skip
            texts.append(canonical_text(data))
            rows.append((texts[-1], "session.started", "mara", "mara", None, at_utc))
    start = house.store.ledger.append("change", [text.encode() for text in texts])
    house.store._database.run_many(CHANGE, [(start + place, *row) for place, row in enumerate(rows)])
