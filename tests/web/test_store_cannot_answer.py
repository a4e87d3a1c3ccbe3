"""A database that is locked, a disk that is full:
503, the store's own words, when to come back; then it goes on.
"""

from __future__ import annotations

import resource
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape
from typing import Any

import pytest

from tests.web.conftest import Site
from webapp.services.audit.auditing import audit
from webapp.store.errors import DatabaseLocked, DiskFailed, DiskFull, FolderNotWritable, StoreError
from webapp.web.edge.errors import PASSING
from webapp.words import say

CASES: tuple[StoreError, ...] = (
    DatabaseLocked(seconds=10), DiskFull(), DiskFailed(why="SQLITE_IOERR_WRITE"),
    FolderNotWritable(folder="/srv/x"),
)  # fmt: skip


@contextmanager
def broken(site: Site, error: StoreError, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    def refuse() -> Any:
        raise error

    with monkeypatch.context() as patch:
        store = site.app.extensions["zerokeep"].store
        patch.setattr(store, "reading", refuse)
        patch.setattr(store, "writing", refuse)
        yield


@pytest.mark.parametrize("error", CASES, ids=lambda error: error.code)
def test_everybody_is_told_why_and_when_to_come_back(
    site: Site, error: StoreError, monkeypatch: pytest.MonkeyPatch
) -> None:
    lead = site.signed_in("ines")
    with broken(site, error, monkeypatch):
        page = lead.get("/desk")
        call = lead.call("/api/events", {"events": []})
    assert (page.status_code, page.headers["Retry-After"]) == (503, "10")
    assert say(PASSING[type(error)]) in unescape(page.get_data(as_text=True))
    assert "/srv/x" not in page.get_data(as_text=True)
    assert (call.status_code, call.headers["Retry-After"]) == (503, "10")
    assert call.get_json() == {"code": error.code, "fields": {}}
    assert lead.get("/desk").status_code == 200


def test_a_writer_that_holds_the_file_is_waited_for_and_then_named(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("webapp.store.database.BUSY_SECONDS", 0.05)
    site.app.extensions["zerokeep"].store.close()
    lead, walk = site.signed_in("ines"), site.house.walk().start()
    other = site.house.store._database
    site.app.extensions["zerokeep"].store._database._connection().execute("PRAGMA busy_timeout=50")
    with other.writing():
        answer = lead.call("/api/events", {"events": walk.parts})
    assert (answer.status_code, answer.get_json()["code"]) == (503, "store.locked")
    assert lead.call("/api/events", {"events": walk.parts}).status_code == 200


@contextmanager
def full_disk(connection: sqlite3.Connection) -> Iterator[None]:
    """No page more than there are."""
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count={pages}")
    yield
    connection.execute("PRAGMA max_page_count=1000000")


@contextmanager
def read_only(connection: sqlite3.Connection) -> Iterator[None]:
    """As on a disk mounted for reading only; no mode of a file keeps root from writing."""
    connection.execute("PRAGMA query_only=ON")
    yield
    connection.execute("PRAGMA query_only=OFF")


@contextmanager
def failing_writes(connection: sqlite3.Connection) -> Iterator[None]:
    """The system refuses to write behind the file's end, with an error that is none of a full disk."""
    pages, size = (connection.execute(f"PRAGMA {what}").fetchone()[0] for what in ("page_count", "page_size"))
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (pages * size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


FAULTS = {
    "store.disk_full": full_disk,
    "store.folder_not_writable": read_only,
    "store.disk_failed": failing_writes,
}


@pytest.mark.parametrize("code", FAULTS)
def test_a_real_fault_is_named_stores_nothing_and_is_got_over_without_a_start(site: Site, code: str) -> None:
    lead, walk = site.signed_in("ines"), site.house.walk().through()
    store = site.app.extensions["zerokeep"].store
    with FAULTS[code](store._database._connection()):
        answer = lead.call("/api/events", {"events": walk.parts})
        assert site.browser().get("/").status_code == 200  # the board, which only reads, goes on
    assert (answer.status_code, answer.get_json()["code"], answer.headers["Retry-After"]) == (503, code, "10")
    with store.reading():
        assert list(store.events.events_between(0, 2**62)) == []
    assert lead.call("/api/events", {"events": walk.parts}).status_code == 200
    with store.reading():
        assert len(list(store.events.events_between(0, 2**62))) == len(walk.parts)
    assert audit(store) == []
