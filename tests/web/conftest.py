"""The real application on a real SQLite file:
the kit's shop, an auditor, clients that behave like a browser.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.kit import more
from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.one_press import share_the_press
from tests.kit.postgresql import Rows, server
from tests.kit.shop import PASSPHRASES, fixed_keyring
from webapp import create_app
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.people import names
from webapp.services.people.secret_digests import digests_of
from webapp.services.people.secret_rules import hash_passphrase
from webapp.settings import Settings
from webapp.store import Store
from webapp.store.moving import carry

# Whose tests run on a shop in a file and on one on a server; calls of tablets, pages of decisions (what they
# decide is tested on both in `tests/services`) and long lists of people too when ZEROKEEP_TESTS_MORE is set,
# because they take minutes.
MORE = {"test_api", "test_deciding", "test_many_people"} if more.ALL else set[str]()
IN_BOTH = {
    "test_closing",
    "test_finding",
    "test_out_of_use",
    "test_several_fixtures",
    "test_tablets_page",
    "test_two_leads",
    "test_worries",
    *MORE,
}
FURNISHED_ROWS: Rows = {}

share_the_press()

DATABASE = "zerokeep.db"
KEY_PASSPHRASE = "four plain words here"
AUDITOR = ("odo", "Odo Lind", "the ledger smells of rain today")
ORIGIN = "https://localhost"
TABLET = {"X-Zerokeep": "1", "Content-Type": "application/json"}
TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')
SEEN = re.compile(r'name="seen" type="hidden" value="([0-9a-f]{64})"')


@dataclass
class Site:
    """One running shop: the house behind it and the application in front."""

    house: House
    app: Flask

    def browser(self) -> Browser:
        """A browser that nobody has signed in with."""
        return Browser(self.app.test_client())

    def signed_in(self, person: str) -> Browser:
        """A browser that this person has signed in with."""
        browser = self.browser()
        passphrase = AUDITOR[2] if person == AUDITOR[0] else PASSPHRASES[person]
        answer = browser.send("/sign-in", person=person, passphrase=passphrase)
        assert answer.status_code == 303, answer.get_data(as_text=True)
        return browser


def read(answer: TestResponse) -> str:
    """The text of an answer, with one blank wherever a browser shows one."""
    return " ".join(answer.get_data(as_text=True).split())


class Browser:
    """A client that sends what a browser sends with a form of our own pages."""

    def __init__(self, client: FlaskClient) -> None:
        self.client = client

    def get(self, path: str, **more: Any) -> TestResponse:
        return self.client.get(path, base_url=ORIGIN, headers={"Sec-Fetch-Site": "none"}, **more)

    def page(self, path: str) -> str:
        """The text of a page that has to be there, with one blank wherever a browser shows one."""
        answer = self.get(path)
        assert answer.status_code == 200, f"{path}: {answer.status_code}"
        return read(answer)

    def text(self, path: str) -> str:
        """A file that has to be there, as it is written."""
        answer = self.get(path)
        assert answer.status_code == 200, f"{path}: {answer.status_code}"
        return answer.get_data(as_text=True)

    def token(self) -> str:
        """A form token of this browser's own session."""
        found = TOKEN.search(self.get("/sign-in").get_data(as_text=True))
        assert found
        return found[1]

    def send(self, path: str, **fields: Any) -> TestResponse:
        """Send a form with its token, as one of our own pages would."""
        return self.send_raw(path, {"csrf_token": self.token(), **fields})

    def decide(self, path: str, **fields: Any) -> TestResponse:
        """Open the form of a decision, and send it with what the page says was read."""
        found = SEEN.search(self.page(path))
        assert found
        return self.send(path, seen=found[1], **fields)

    def send_raw(self, path: str, fields: dict[str, Any], **headers: str) -> TestResponse:
        """Send a form as it is."""
        sent = _headers({"Origin": ORIGIN, "Sec-Fetch-Site": "same-origin"}, headers)
        return self.client.post(path, base_url=ORIGIN, data=fields, headers=sent)

    def call(self, path: str, body: Any, **headers: str) -> TestResponse:
        """Call the API as a tablet's page would; bytes are sent as they are."""
        sent = _headers({"Origin": ORIGIN, "Sec-Fetch-Site": "same-origin", **TABLET}, headers)
        raw = body if isinstance(body, bytes) else json.dumps(body).encode()
        return self.client.post(path, base_url=ORIGIN, headers=sent, data=raw)


def _headers(usual: dict[str, str], other: dict[str, str]) -> dict[str, str]:
    """The usual headers with others in their place; an empty one is left out."""
    sent = {**usual, **{name.replace("_", "-"): value for name, value in other.items()}}
    return {name: value for name, value in sent.items() if value}


@pytest.fixture(scope="session")
def keys(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, KeyRing]:
    """One ring of keys for the whole run, and the folder that it lies in."""
    folder = tmp_path_factory.mktemp("shop")
    return folder, fixed_keyring(folder / "keys", Clock())


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "site" in metafunc.fixturenames and Path(str(metafunc.module.__file__)).stem in IN_BOTH:
        metafunc.parametrize("site", ["in_file", "on_server"], indirect=True)


@pytest.fixture
def site(request: pytest.FixtureRequest, tmp_path: Path, keys: tuple[Path, KeyRing]) -> Iterator[Site]:
    """A shop of its own for every test."""
    site = make_site(tmp_path, keys, on_server=getattr(request, "param", "in_file") == "on_server")
    yield site
    site.house.store.close()
    site.app.extensions["zerokeep"].close()


@pytest.fixture(scope="module")
def shared_site(tmp_path_factory: pytest.TempPathFactory, keys: tuple[Path, KeyRing]) -> Iterator[Site]:
    """One shop for all tests of a file that only look, or that do not mind what the others did."""
    site = make_site(tmp_path_factory.mktemp("shared"), keys)
    yield site
    site.house.store.close()
    site.app.extensions["zerokeep"].close()


def make_site(
    folder: Path,
    keys: tuple[Path, KeyRing],
    *,
    elapsed_s: Callable[[], float] | None = None,
    back: timedelta = timedelta(0),
    on_server: bool = False,
    **settings: Any,
) -> Site:
    """Put the loaded shop into a folder, set its clock back if asked, and start the application on it."""
    (folder / "keys").mkdir(mode=0o700)
    kept = folder / "keys" / "keys.json"
    kept.touch(mode=0o600)
    kept.write_bytes((keys[0] / "keys" / "keys.json").read_bytes())
    address = server().emptied(furnished_rows(keys)) if on_server else None
    if address is None:
        shutil.copyfile(furnished(*keys), folder / DATABASE)
    house = House(folder, keys[1], loaded=True, address=address)
    tokens = count(1)
    house.clock.moment -= back
    app = create_app(
        Settings(data_folder=folder, key_passphrase=KEY_PASSPHRASE, database_named=address, **settings),
        house.clock,
        lambda: f"token-{next(tokens):040d}",
        elapsed_s,
    )
    return Site(house, app)


def furnished(folder: Path, keyring: KeyRing) -> Path:
    """The database of the shop right after loading, made beside these keys once:
    hashing secrets is slow on purpose.
    """
    made = folder / "furnished"
    if not made.exists():
        half = folder / "half-furnished"
        half.mkdir()
        house = House(half, keyring)
        add_auditor(house)
        house.store.close()
        half.rename(made)
    return made / DATABASE


def furnished_rows(keys: tuple[Path, KeyRing]) -> Rows:
    """The rows of the same shop on a server, carried there once."""
    if not FURNISHED_ROWS:
        in_file = Store.open(furnished(*keys))
        on_server = Store.open(server().emptied(), keys[0])
        carry(in_file, on_server)
        in_file.close()
        on_server.close()
        FURNISHED_ROWS.update(server().rows())
    return FURNISHED_ROWS


def add_auditor(house: House) -> None:
    """Give the shop somebody who may read everything and change nothing, as the ledger tells it."""
    person, name, passphrase = AUDITOR
    secrets = {"passphrase_hash": hash_passphrase(passphrase), "must_change": False}
    with house.store.writing():
        said = names.add(house.store, person, name, ["auditor"])
        change(house.store, "person.added", SERVER, person, None, said, house.clock())
        for secret, columns in (("passphrase", secrets), ("pin", {"must_change_pin": False})):
            house.store.people.change(person, **columns)
            row = house.store.people.person(person)
            assert row is not None
            data = {"secret": secret, "first": False, "digests": digests_of(row)}
            change(house.store, "secret.changed", person, person, None, data, house.clock())
