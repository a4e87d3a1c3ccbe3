"""Setups from before there was a list of what they are found by, looked at one after the other.

Rules: a setup is folded and listed in a transaction of its own, so that people and tablets who write wait no
longer than for one; one that cannot be folded is left out for good, as the audit says of it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import DomainError
from webapp.domain.record.found_by import terms_of, words_of
from webapp.services.setups import stored_setups

if TYPE_CHECKING:
    from webapp.store import Store

AT_A_TIME = 200


def look_at_earlier_setups(store: Store, between: Callable[[], None] = lambda: None) -> int:
    """List what every setup that waits for it is found by; how many did. `between` is called after each."""
    looked = 0
    while setups := _some(store):
        for setup in setups:
            with store.writing():
                _list(store, setup)
            looked += 1
            between()
    return looked


def _some(store: Store) -> list[str]:
    with store.reading():
        return store.found.waiting(AT_A_TIME)


def _list(store: Store, setup: str) -> None:
    store.found.looked_at(setup)
    try:
        state = stored_setups.fold_stored(store, setup)
        sheet = stored_setups.sheet_of(store, state["sheet"])
        terms, words = terms_of(sheet, state), words_of(state)
    except (DomainError, LookupError, ValueError, TypeError, AttributeError):
        return
    row = store.setups.setup(setup)
    if row is not None:
        store.found.put(setup, row["started_at_utc"], terms, words)
