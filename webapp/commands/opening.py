"""The store and the keys of a data folder, opened for one command."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from webapp.chance import new_token
from webapp.clocks import utc_now
from webapp.data_folder import make_data_folder
from webapp.proof.keys.key_ring import KeyRing
from webapp.settings import Settings
from webapp.shop_folder import open_keyring
from webapp.store import Store


@contextmanager
def opened(settings: Settings) -> Iterator[tuple[Store, KeyRing]]:
    """Make the data folder if need be, open its keys and its store, close it again.

    Raises CannotStart, BadSetting, ProofError, StoreError, each with its words.
    """
    make_data_folder(settings)
    keyring = open_keyring(settings, utc_now, new_token)
    store = Store.open(settings.database, settings.files_folder)
    try:
        yield store, keyring
    finally:
        store.close()


def has_shop(settings: Settings) -> bool:
    """Whether there is a store in the folder; where there is none, it is said."""
    if Store.is_at(settings.database):
        return True
    where = f"There is no shop in {settings.data_folder}. Give its folder with --data-folder."
    print(where, file=sys.stderr)
    return False


@contextmanager
def looked_into(settings: Settings) -> Iterator[Store | None]:
    """The store alone, for a command that needs no keys and makes nothing;
    None, and it is said, where no shop is.
    """
    if not has_shop(settings):
        yield None
        return
    store = Store.open(settings.database, settings.files_folder)
    try:
        yield store
    finally:
        store.close()
