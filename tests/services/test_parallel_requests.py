"""Eight workers do the same at the same moment, each with a store of its own, as in processes: one did it."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable

from tests.kit.house import House
from tests.kit.shop import PASSPHRASES
from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.errors import SlotTakenError
from webapp.services.audit.auditing import audit
from webapp.services.decisions import signing_off
from webapp.services.decisions.errors import DecidedAlready
from webapp.services.intake import intake
from webapp.services.people.errors import TooManyTries
from webapp.services.shop import slots
from webapp.store import Store

WORKERS = 8


def at_once(house: House, work: Callable[[Store, int], object]) -> list[object]:
    """What each worker's work gave, or the refusal that it met."""
    found: list[object] = [None] * WORKERS
    together = threading.Barrier(WORKERS)

    def run(number: int) -> None:
        store = Store(house.store._address, house.folder)
        with store.reading():
            store.ledger.size()
        together.wait()
        try:
            found[number] = work(store, number)
        except DomainError as refusal:
            found[number] = refusal
        finally:
            store.close()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(WORKERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


def changes(house: House, kind: str) -> list[str]:
    with house.store.reading():
        return [row["subject"] for row in house.store.ledger.changes(kind=kind)]


def test_one_sign_off_counts_and_its_values_are_kept_once(house: House) -> None:
    setup = house.signed().setup
    seen, before = house.seen(setup), len(changes(house, "setup.signed_off"))

    def sign_off(store: Store, number: int) -> str:
        by = ("ines", "tomas")[number % 2]
        signing_off.sign_off(store, setup, by, PASSPHRASES[by], "", house.clock(), seen=seen)
        return by

    found = at_once(house, sign_off)
    assert Counter(type(one) for one in found)[str] == 1
    assert {type(one) for one in found} <= {str, DecidedAlready, TooManyTries}
    assert len(changes(house, "setup.signed_off")) - before == 1
    with house.store.reading():
        assert len(house.store.numbers.kept_of(setup)) == 3
    assert audit(house.store) == []


def test_a_slot_has_one_owner_whoever_was_given_it_at_the_same_moment(house: House) -> None:
    owners = ("tomas", "ivo")

    def give(store: Store, number: int) -> str:
        owner = owners[number % 2]
        slots.give_slot(store, "mill-2", "G57", owner, None, "ines", house.clock())
        return owner

    found = at_once(house, give)
    granted = [one for one in found if isinstance(one, str)]
    with house.store.reading():
        slot = house.store.shop.slot("mill-2", "G57")
    assert slot is not None
    assert set(granted) == {slot["owner"]}
    assert {type(one) for one in found} == {str, SlotTakenError}
    # The same grant again is answered and noted once, as a second press is.
    assert len(changes(house, "slot.given")) == 1
    assert audit(house.store) == []


def test_an_upload_that_comes_eight_times_is_taken_once(house: House) -> None:
    parts = house.walk().through().parts

    def upload(store: Store, _: int) -> list[str]:
        return [one["outcome"] for one in intake.accept(store, house.keyring, parts, house.clock())]

    found = Counter(outcome for outcomes in at_once(house, upload) for outcome in outcomes)  # type: ignore[attr-defined]
    assert found == {"accepted": len(parts), "already_had": len(parts) * (WORKERS - 1)}
    with house.store.reading():
        stored = [event["position"] for event in house.store.events.events_between(0, 2**62)]
        assert len(stored) == len(parts)
    assert audit(house.store) == []
