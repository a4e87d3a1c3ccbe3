"""The same setup on PostgreSQL: a demo shop carried there by the program's own command, its server killed in
the middle, the record sealed, and nothing that the file would not have.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext

from tests.kit.demo import Demo
from tests.kit.desk import Desk
from tests.kit.postgresql import server as database_server
from tests.kit.server import ROOT, Server
from tests.kit.tablet import Tablet, operator
from webapp.services.audit.auditing import audit
from webapp.store import Store

DATABASE = "browsed"


@pytest.fixture
def address(demo: Demo) -> str:
    """The address of a database that holds the demo shop now, as `zerokeep move` brought it there."""
    database_server().make(DATABASE)
    address = database_server().address(DATABASE)
    command = [sys.executable, "-m", "webapp.cli", "move", "--to", address, "--data-folder", str(demo.folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return address


@pytest.fixture
def server(demo: Demo, address: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    """A server that has its shop from there."""
    monkeypatch.setenv("ZEROKEEP_DATABASE", address)
    server = Server(demo.folder, from_files=True)
    server.start()
    yield server
    server.kill()


def test_a_setup_is_walked_signed_and_sealed_on_a_database_server(
    demo: Demo,
    address: str,
    server: Server,
    new_context: Callable[..., BrowserContext],
    tmp_path: Path,
) -> None:
    desk = Desk(new_context().new_page(), server.address)
    desk.sign_in("mara", demo.people["mara"])
    tablet = Tablet(new_context().new_page(), server.address)
    tablet.enrol(desk.make_code())
    tablet.begin("plover", "odile")
    hand = operator(tablet, demo)
    hand.walk(until="x.touch")
    server.kill()
    hand.walk()
    server.start()
    tablet.page.wait_for_selector('[data-signature="verified"]', timeout=60_000)
    made = tablet.events()
    desk.sign_off(made[0]["setup"], demo.people["mara"])
    tablet.page.wait_for_selector('[data-signature="signed_off"]', timeout=60_000)
    desk.open(f"/desk/setups/{made[0]['setup']}")
    assert desk.download("Sealed record", tmp_path).startswith(b"%PDF-")
    store = Store.open(address, demo.folder)
    assert events_of(store, made[0]["device"]) == [row["id"] for row in made]
    assert audit(store) == []
    store.close()
    with demo.opened() as (left_behind, _):
        assert events_of(left_behind, made[0]["device"]) == []


def events_of(store: Store, device: str) -> list[str]:
    with store.reading():
        return [row["id"] for row in store.events.events_between(0, 2**62) if row["device"] == device]
