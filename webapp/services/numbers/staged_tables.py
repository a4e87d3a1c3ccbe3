"""Tables that were looked at, kept until they are taken in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from webapp.domain.evidence.events import HASH
from webapp.services.errors import NoSuchUpload

if TYPE_CHECKING:
    from webapp.store import Store

MOST_STAGED = 8


def stage(store: Store, data: bytes) -> str:
    """Keep a table that was looked at until it is taken in; its SHA-256. Older ones go."""
    digest = store.incoming.write(data)
    store.incoming.keep_newest(MOST_STAGED)
    return digest


def staged(store: Store, digest: str) -> bytes:
    """A table that was looked at. Raises NoSuchUpload."""
    if not (HASH.passes(digest) and store.incoming.is_whole(digest)):
        raise NoSuchUpload
    return store.incoming.read(digest)


def drop(store: Store, digest: str) -> None:
    """Forget a table that was taken in."""
    store.incoming.remove(digest)
