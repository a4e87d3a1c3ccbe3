"""A PostgreSQL server that ends and comes back, and one in whose place another one takes over:
tablets are told to come again, nothing with a receipt is lost, and nothing is there twice.
"""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.postgresql import DATABASE, Server
from tests.kit.postgresql_pair import Pair
from tests.web.conftest import KEY_PASSPHRASE, Browser, Site
from webapp import create_app
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.audit.auditing import audit
from webapp.settings import Settings

HALF = 5


@pytest.fixture
def gone() -> Iterator[Server]:
    server = Server()
    yield server
    server.stop()


@pytest.fixture
def pair() -> Iterator[Pair]:
    pair = Pair()
    yield pair
    pair.stop()


def site_at(address: str, folder: Path, keys: tuple[Path, KeyRing]) -> Site:
    """The application on a shop in this database."""
    (folder / "keys").mkdir(mode=0o700)
    kept = folder / "keys" / "keys.json"
    kept.touch(mode=0o600)
    kept.write_bytes((keys[0] / "keys" / "keys.json").read_bytes())
    house = House(folder, keys[1], address=address)
    named = Settings(data_folder=folder, key_passphrase=KEY_PASSPHRASE, database_named=address)
    return Site(house, create_app(named, house.clock, lambda: "token-" + "0" * 40))


def close(site: Site) -> None:
    site.house.store.close()
    site.app.extensions["zerokeep"].close()


def outcomes(browser: Browser, parts: list[dict[str, Any]]) -> list[str]:
    answer = browser.call("/api/events", {"events": parts})
    assert answer.status_code == 200, answer.get_data(as_text=True)
    payload = json.loads(urlsafe_b64decode(answer.get_json()["receipts"].split(".")[1] + "=="))
    return [one["outcome"] for one in payload["receipts"]]


def told_to_come_again(browser: Browser, parts: list[dict[str, Any]]) -> None:
    """Twice: the connection that broke, and one that cannot be opened."""
    for _ in range(2):
        answer = browser.call("/api/events", {"events": parts})
        assert (answer.status_code, answer.headers["Retry-After"]) == (503, "10")
        assert answer.get_json()["code"] == "store.not_reached"


def all_is_there_once(site: Site, parts: list[dict[str, Any]]) -> None:
    with site.house.store.reading():
        rows = list(site.house.store.events.events_between(0, 2**62))
    assert [row["jws"] for row in rows] == [part["jws"] for part in parts]
    assert audit(site.house.store) == []


def test_a_database_that_is_gone_for_a_while_is_waited_for_and_then_takes_the_rest(
    gone: Server, tmp_path: Path, keys: tuple[Path, KeyRing]
) -> None:
    site = site_at(gone.address(DATABASE), tmp_path, keys)
    browser, parts = site.browser(), site.house.walk().through().parts
    assert set(outcomes(browser, parts[:HALF])) == {"accepted"}
    gone.end()
    told_to_come_again(browser, parts)
    gone.begin()
    assert outcomes(browser, parts) == ["already_had"] * HALF + ["accepted"] * (len(parts) - HALF)
    all_is_there_once(site, parts)
    close(site)


def test_where_another_server_takes_over_nothing_with_a_receipt_is_lost(
    pair: Pair, tmp_path: Path, keys: tuple[Path, KeyRing]
) -> None:
    site = site_at(pair.address, tmp_path, keys)
    browser, parts = site.browser(), site.house.walk().through().parts
    assert set(outcomes(browser, parts[:HALF])) == {"accepted"}
    pair.first.end()
    told_to_come_again(browser, parts)
    pair.promote()
    assert outcomes(browser, parts) == ["already_had"] * HALF + ["accepted"] * (len(parts) - HALF)
    all_is_there_once(site, parts)
    close(site)
