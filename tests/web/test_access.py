"""Signing in, staying in, going out, and changing one's own secrets, at the desk."""

from __future__ import annotations

import re

import pytest

from tests.kit.shop import PASSPHRASES
from tests.web.conftest import Site
from webapp.web.desk.access import _own_page

# A token of this browser and the number of this form: other ones on every page.
TOKEN_FIELD = re.compile(r'name="(?:csrf_token|press)"(?: type="hidden")? value="[^"]+"')


def session_cookie(headers: list[str]) -> str:
    return next(one for one in headers if one.startswith("__Host-zerokeep="))


def test_the_right_passphrase_starts_a_session_and_leads_to_the_page_that_was_asked_for(site: Site) -> None:
    browser = site.browser()
    turned = browser.get("/desk/slots?x=1")
    assert turned.headers["Location"] == "/sign-in?to=/desk/slots?x%3D1"
    answer = browser.send(turned.headers["Location"], person="ines", passphrase=PASSPHRASES["ines"])
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/desk/slots?x=1"
    assert "Slot register" in browser.page("/desk/slots")


@pytest.mark.parametrize("person", ["wanda", "ines", "ivo"])
def test_a_wrong_name_a_wrong_passphrase_and_a_disabled_account_get_the_same_answer(
    site: Site, person: str
) -> None:
    with site.house.store.writing():
        site.house.store.people.change("ivo", active=False)
    browser = site.browser()
    passphrase = PASSPHRASES["ivo"] if person == "ivo" else "not the passphrase of anybody"
    answer = browser.send("/sign-in", person=person, passphrase=passphrase)
    same = site.browser().send("/sign-in", person="somebody-else", passphrase="another wrong passphrase")
    assert answer.status_code == same.status_code == 403
    plain = [TOKEN_FIELD.sub("", one.get_data(as_text=True)) for one in (answer, same)]
    assert plain[0].replace(person, "WHO") == plain[1].replace("somebody-else", "WHO")
    assert not [one for one in answer.headers.getlist("Set-Cookie") if one.startswith("__Host-zerokeep=")]


def test_what_was_typed_as_a_passphrase_never_comes_back(site: Site) -> None:
    answer = site.browser().send("/sign-in", person="ines", passphrase="typed by mistake")
    assert "typed by mistake" not in answer.get_data(as_text=True)


def test_each_sign_in_gets_a_new_token(site: Site) -> None:
    browser = site.browser()
    tokens = set()
    for _ in range(2):
        answer = browser.send("/sign-in", person="ines", passphrase=PASSPHRASES["ines"])
        tokens.add(session_cookie(answer.headers.getlist("Set-Cookie")))
    assert len(tokens) == 2


def test_signing_in_ends_the_session_that_the_browser_had_before(site: Site) -> None:
    browser = site.signed_in("mara")
    kept = browser.client.get_cookie("__Host-zerokeep")
    assert kept is not None
    assert browser.send("/sign-in", person="ines", passphrase=PASSPHRASES["ines"]).status_code == 303
    browser.client.set_cookie("__Host-zerokeep", kept.value)
    assert browser.get("/me").status_code == 303


def test_signing_out_ends_the_session_on_the_server_too(site: Site) -> None:
    browser = site.signed_in("ines")
    kept = browser.client.get_cookie("__Host-zerokeep")
    assert kept is not None
    assert browser.send("/sign-out").status_code == 303
    browser.client.set_cookie("__Host-zerokeep", kept.value)
    assert browser.get("/desk").status_code == 303


def test_signing_in_and_out_sets_and_takes_back_a_cookie_for_this_host_alone(site: Site) -> None:
    browser = site.signed_in("ines")
    kept = browser.client.get_cookie("__Host-zerokeep")
    assert kept is not None
    assert (kept.secure, kept.http_only, kept.same_site, kept.path) == (True, True, "Strict", "/")
    answer = browser.send("/sign-out")
    (taken,) = (one for one in answer.headers.getlist("Set-Cookie") if one.startswith("__Host-zerokeep="))
    assert {"Max-Age=0", "Secure", "HttpOnly", "Path=/", "SameSite=Strict"} <= set(taken.split("; "))
    assert browser.client.get_cookie("__Host-zerokeep") is None


def test_a_session_ends_after_half_an_hour_without_use(site: Site) -> None:
    browser = site.signed_in("ines")
    site.house.clock.forward(minutes=29)
    assert browser.get("/desk").status_code == 200
    site.house.clock.forward(minutes=31)
    assert browser.get("/desk").status_code == 303


def test_a_session_ends_after_its_longest_time_however_busy_it_was(site: Site) -> None:
    browser = site.signed_in("ines")
    for _ in range(24):
        site.house.clock.forward(minutes=25)
        browser.get("/desk")
    site.house.clock.forward(minutes=1)
    assert browser.get("/desk").status_code == 303


@pytest.mark.parametrize("cookie", ["", "x", "token-0", "' OR 1=1 --", "é" * 200])
def test_a_made_up_cookie_is_nobody(shared_site: Site, cookie: str) -> None:
    browser = shared_site.browser()
    browser.client.set_cookie("__Host-zerokeep", cookie)
    assert browser.get("/desk").status_code == 303


def test_a_new_passphrase_ends_all_sessions_and_opens_a_new_one(site: Site) -> None:
    here, elsewhere = site.signed_in("mara"), site.signed_in("mara")
    new = "eleven paper boats on the lock"
    answer = here.send(
        "/me/passphrase", current=PASSPHRASES["mara"], new_passphrase=new, new_passphrase_again=new
    )
    assert answer.status_code == 303
    assert elsewhere.get("/me").status_code == 303
    assert site.browser().send("/sign-in", person="mara", passphrase=new).status_code == 303


@pytest.mark.parametrize(
    ("new", "again"),
    [("short", "short"), ("eleven paper boats on the lock", "eleven paper goats on the lock"), ("", "")],
)
def test_a_new_passphrase_that_is_short_empty_or_typed_differently_is_refused(
    site: Site, new: str, again: str
) -> None:
    browser = site.signed_in("mara")
    answer = browser.send(
        "/me/passphrase", current=PASSPHRASES["mara"], new_passphrase=new, new_passphrase_again=again
    )
    assert answer.status_code == 422
    assert browser.get("/me").status_code == 200


def test_a_pin_is_changed_with_the_passphrase(site: Site) -> None:
    browser = site.signed_in("mara")
    refused = browser.send(
        "/me/pin", passphrase="wrong wrong wrong", new_pin="908172", new_pin_again="908172"
    )
    assert refused.status_code == 422
    guessable = browser.send(
        "/me/pin", passphrase=PASSPHRASES["mara"], new_pin="123456", new_pin_again="123456"
    )
    assert guessable.status_code == 422
    taken = browser.send("/me/pin", passphrase=PASSPHRASES["mara"], new_pin="908172", new_pin_again="908172")
    assert taken.status_code == 303
    assert "The new PIN holds" in browser.page(taken.headers["Location"])


def test_secret_fields_are_inputs_that_a_password_manager_can_fill(site: Site) -> None:
    page = site.browser().page("/sign-in")
    assert 'autocomplete="username"' in page
    assert 'autocomplete="current-password"' in page
    mine = site.signed_in("mara").page("/me")
    assert mine.count('autocomplete="new-password"') == 4


@pytest.mark.parametrize(
    "address",
    [
        "https://evil.example/", "//evil.example/", "/\\evil.example", "javascript:alert(1)", "/ok\r\nX: y",
        "", None, "/\t/evil.example", "\\\\evil.example", "evil.example",
    ],
)  # fmt: skip
def test_after_signing_in_nobody_is_sent_elsewhere(shared_site: Site, address: str | None) -> None:
    with shared_site.app.test_request_context(base_url="https://localhost"):
        assert _own_page(address) == "/desk/setups"
