"""The first start of an empty shop in the browser, in both databases: the code, the first lead, one wins."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest
from flask import Flask

from tests.kit.clock import Clock
from tests.kit.postgresql import server
from tests.kit.shop import RULES
from tests.web.conftest import KEY_PASSPHRASE, Browser, read
from webapp import create_app
from webapp.proof.keys.key_ring import KeyRing
from webapp.server import serving, set_up_code
from webapp.services.audit import shop_rows
from webapp.services.audit.people import misfits
from webapp.services.errors import SetUpIsOver
from webapp.services.shop import beginning
from webapp.services.shop.beginning import FirstLead
from webapp.settings import Settings
from webapp.store import Store

KINDS = ("person.added", "sign_in.succeeded")
PRESS = re.compile(r'name="press" type="hidden" value="([^"]+)"')
WORDS = "quiet copper lantern harbour"
TYPED = {
    "shop_name": "Kettle Lane", "shop_lead": "Ines, ext. 12", "shop_time_zone": "Europe/Oslo",
    "person_name": "Ines Varga", "person": "ines", "new_passphrase": WORDS, "new_passphrase_again": WORDS,
    "new_pin": "814572", "new_pin_again": "814572",
}  # fmt: skip


@pytest.fixture(params=["in_file", "on_server"])
def empty(request: pytest.FixtureRequest, tmp_path: Path, keys: tuple[Path, KeyRing]) -> Iterator[Flask]:
    """The application on a folder in which nothing is."""
    (tmp_path / "keys").mkdir(mode=0o700)
    kept = tmp_path / "keys" / "keys.json"
    kept.touch(mode=0o600)
    kept.write_bytes((keys[0] / "keys" / "keys.json").read_bytes())
    address = server().emptied() if request.param == "on_server" else None
    tokens = count(1)
    settings = Settings(data_folder=tmp_path, key_passphrase=KEY_PASSPHRASE, database_named=address)
    app = create_app(settings, Clock(), lambda: f"token-{next(tokens):040d}")
    yield app
    app.extensions["zerokeep"].close()


def store_of(app: Flask) -> Store:
    return app.extensions["zerokeep"].store  # type: ignore[no-any-return]


def code_of(app: Flask) -> str:
    parts = app.extensions["zerokeep"]
    return set_up_code.make(parts.settings.data_folder, parts.now())


def test_the_code_proves_the_owner_and_the_second_one_in_is_told(empty: Flask) -> None:
    code, first, second = code_of(empty), Browser(empty.test_client()), Browser(empty.test_client())
    assert "set up this shop" in first.page("/")
    page = read(first.send("/set-up", code="0000", **TYPED))
    assert "not the code that the server printed" in page
    assert "Kettle Lane" in page
    assert WORDS not in page
    assert beginning.is_open(store_of(empty))
    assert first.send("/set-up", code=code.lower().replace("-", " "), **TYPED).status_code == 303
    assert first.get("/desk/set-up").status_code == 200
    assert second.send("/set-up", code=code, **{**TYPED, "person": "tomas"}).status_code == 303
    assert second.get("/set-up").headers["Location"].startswith("/sign-in")
    with store_of(empty).reading():
        assert [row["id"] for row in store_of(empty).people.everybody()] == ["ines"]
    assert [*misfits(store_of(empty)), *shop_rows.misfits(store_of(empty))] == []


def test_wrong_codes_have_to_wait(empty: Flask) -> None:
    code, browser = code_of(empty), Browser(empty.test_client())
    for _ in range(9):
        browser.send("/set-up", code="guess", **TYPED)
    assert "Wait" in read(browser.send("/set-up", code=code, **TYPED))
    assert beginning.is_open(store_of(empty))


def from_address(browser: Browser, address: str) -> Browser:
    browser.client.environ_base["REMOTE_ADDR"] = address
    return browser


def test_wrong_codes_from_one_address_shut_nobody_else_out(empty: Flask) -> None:
    code = code_of(empty)
    stranger = from_address(Browser(empty.test_client()), "192.0.2.7")
    for _ in range(12):
        answer = stranger.send("/set-up", code="guess", **TYPED)
    assert "Wait" in read(answer)
    owner = from_address(Browser(empty.test_client()), "192.0.2.8")
    assert owner.send("/set-up", code=code, **TYPED).status_code == 303
    assert not beginning.is_open(store_of(empty))


def test_a_code_ends_after_a_day_and_with_the_next_start(empty: Flask) -> None:
    clock, browser = empty.extensions["zerokeep"].now, Browser(empty.test_client())
    first = code_of(empty)
    second = code_of(empty)
    assert "not the code" in read(browser.send("/set-up", code=first, **TYPED))
    clock.forward(hours=24)
    assert "it ends after a day" in read(browser.send("/set-up", code=second, **TYPED))
    assert beginning.is_open(store_of(empty))
    third = code_of(empty)
    clock.forward(hours=23)
    assert browser.send("/set-up", code=third, **TYPED).status_code == 303


def test_a_filled_shop_takes_no_code_and_a_start_takes_an_old_one_away(empty: Flask) -> None:
    parts, browser = empty.extensions["zerokeep"], Browser(empty.test_client())
    assert browser.send("/set-up", code=code_of(empty), **TYPED).status_code == 303
    assert not (parts.settings.data_folder / set_up_code.FILE_NAME).exists()
    late = code_of(empty)
    answer = Browser(empty.test_client()).send("/set-up", code=late, **{**TYPED, "person": "tomas"})
    assert answer.headers["Location"].startswith("/sign-in")
    with pytest.raises(SetUpIsOver):
        beginning.begin_shop(
            parts.store, parts.keyring, RULES, FirstLead("tomas", "Tomas Ray", WORDS, "814572"),
            lambda: True, parts.now(), "192.0.2.7",
        )  # fmt: skip
    assert serving._hint_if_empty(parts.store, parts.settings) == []
    assert not (parts.settings.data_folder / set_up_code.FILE_NAME).exists()


def test_the_first_lead_is_not_called_as_the_ledger_calls_the_server(empty: Flask) -> None:
    answer = Browser(empty.test_client()).send(
        "/set-up", code=code_of(empty), **{**TYPED, "person": "server"}
    )
    assert answer.status_code == 422
    assert "no id is “server”" in answer.text
    assert 'value="server"' in answer.text


def test_the_form_that_made_the_lead_pressed_twice_lets_both_in_and_makes_one(empty: Flask) -> None:
    code = code_of(empty)
    browser, other = Browser(empty.test_client()), Browser(empty.test_client())
    press = PRESS.search(browser.page("/set-up"))
    assert press
    sent = {"code": code, "press": press[1], **TYPED}
    first = browser.send("/set-up", **sent)
    session = browser.client.get_cookie("__Host-zerokeep")
    browser.client.delete_cookie("__Host-zerokeep")
    again = browser.send("/set-up", **sent)  # before the browser had the first answer
    assert session
    with_cookie = browser.send("/set-up", **sent)
    elsewhere = other.send("/set-up", **{**sent, "press": "another"})
    for answer in (first, again, with_cookie, elsewhere):
        assert (answer.status_code, answer.headers["Location"]) == (303, "/desk/set-up")
    assert first.headers["Set-Cookie"] == again.headers["Set-Cookie"]
    assert other.get("/desk/set-up").status_code == 200
    with store_of(empty).reading():
        made, signed_in = (store_of(empty).ledger.changes(kind=kind) for kind in KINDS)
    assert (len(made), len(signed_in)) == (1, 2)


@pytest.mark.parametrize(
    ("field", "typed", "told"),
    [
        ("person", "I V", "short name"),
        ("new_passphrase", "short", "15"),
        ("new_pin", "123456", "row"),
        ("shop_time_zone", "Oslo", "time zone"),
        ("shop_name", "{shop}", "plain text"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_stored(
    tmp_path: Path, keys: tuple[Path, KeyRing], field: str, typed: str, told: str
) -> None:
    settings = Settings(data_folder=tmp_path, key_passphrase=KEY_PASSPHRASE)
    (tmp_path / "keys").mkdir(mode=0o700)
    kept = tmp_path / "keys" / "keys.json"
    kept.touch(mode=0o600)
    kept.write_bytes((keys[0] / "keys" / "keys.json").read_bytes())
    app = create_app(settings, Clock(), iter(f"token-{n:040d}" for n in range(50)).__next__)
    sent = {**TYPED, field: typed, **({f"{field}_again": typed} if field.startswith("new_") else {})}
    answer = Browser(app.test_client()).send("/set-up", code=code_of(app), **sent)
    assert answer.status_code == 422
    assert told in read(answer)
    assert beginning.is_open(store_of(app))
    app.extensions["zerokeep"].close()
