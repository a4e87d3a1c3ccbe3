"""What stands before every view: headers, hosts, sizes, origins, form tokens, and errors in our own words."""

from __future__ import annotations

from collections.abc import Iterator
from html import unescape

import pytest
from flask import Flask, abort, request
from werkzeug.routing import AnyConverter
from werkzeug.test import TestResponse

from tests.kit.shop import PASSPHRASES
from tests.web.conftest import ORIGIN, Site
from webapp.domain.plain.errors import DomainError
from webapp.services.decisions.errors import DecidedAlready
from webapp.services.errors import NoSuchSetup, OwnSetup, ReasonMissing
from webapp.services.people.errors import StoppedAfterTries, TooManyTries
from webapp.web.edge import guards, headers, request_sizes
from webapp.web.edge.request_sizes import SMALL
from webapp.words import say

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self'",
    "font-src": "'self'",
    "connect-src": "'self'",
    "manifest-src": "'self'",
    "worker-src": "'self'",
    "object-src": "'none'",
    "base-uri": "'none'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
    "require-trusted-types-for": "'script'",
}
MARK = "00000000-0000-0000-0000-0000000000aa"
MADE_UP: dict[str, str | int] = {"position": 3, "number": 3, "axis": "X", "action": "roles"}


def every_address(site: Site) -> Iterator[tuple[str, str]]:
    """Method and address of every route, with made-up values in its parts."""
    for rule in site.app.url_map.iter_rules():
        choices = {
            name: min(one.items) for name, one in rule._converters.items() if isinstance(one, AnyConverter)
        }
        values = {name: MADE_UP.get(name, MARK) for name in rule.arguments} | choices
        address = site.app.url_map.bind("localhost").build(rule.endpoint, values)
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"}):
            yield method, address


def assert_guarded(answer: TestResponse) -> None:
    for name, value in HEADERS.items():
        assert answer.headers[name] == value, name
    policy = dict(part.split(" ", 1) for part in answer.headers["Content-Security-Policy"].split("; "))
    # A page that shows and does nothing may stand in a frame of this server's own pages.
    framed = {"frame-ancestors": "'self'"} if answer.request.path.endswith("/glass") else {}
    assert {name: policy[name] for name in POLICY} == POLICY | framed
    assert "unsafe" not in answer.headers["Content-Security-Policy"]
    sees = answer.request.path == "/tablet" and answer.status_code == 200
    camera = "camera=(self)" if sees else "camera=()"
    assert camera in answer.headers["Permissions-Policy"], answer.request.path
    assert answer.headers["Cache-Control"]
    for cookie in answer.headers.getlist("Set-Cookie"):
        assert cookie.startswith("__Host-"), cookie
        for word in ("Secure", "HttpOnly", "SameSite=Strict", "Path=/"):
            assert word in cookie, cookie
        assert "Domain" not in cookie


def test_every_route_answers_with_every_header_whether_it_lets_in_or_refuses(shared_site: Site) -> None:
    for browser in (shared_site.browser(), shared_site.signed_in("ines")):
        for method, address in every_address(shared_site):
            answer = browser.get(address) if method == "GET" else browser.send_raw(address, {})
            assert_guarded(answer)


@pytest.mark.parametrize(
    "path",
    ["/nothing", "/assets/other/js/main.js", "/api/nothing", "/desk/../etc/passwd", "/static/css/desk.css"],
)
def test_what_is_not_there_is_a_404_with_every_header(shared_site: Site, path: str) -> None:
    answer = shared_site.browser().get(path)
    assert answer.status_code == 404
    assert_guarded(answer)


def test_pages_and_api_are_never_kept_and_versioned_files_for_a_year(shared_site: Site) -> None:
    browser = shared_site.browser()
    for path in ("/", "/sign-in"):
        assert browser.get(path).headers["Cache-Control"] == "no-store"
    assert browser.call("/api/reach", {}).headers["Cache-Control"] == "no-store"
    shell = shared_site.app.extensions["zerokeep"].shell
    assert "immutable" in browser.get(shell.address("css/desk.css")).headers["Cache-Control"]
    assert browser.get("/sw.js").headers["Cache-Control"] == "no-cache"
    assert browser.get("/tablet").headers["Cache-Control"] == "no-cache"


@pytest.mark.parametrize(
    "host",
    ["evil.example", "localhost.evil.example", "127.0.0.1.evil.example", "", "localhost:8420@evil.example"],
)
def test_a_request_that_calls_the_server_another_name_is_refused(shared_site: Site, host: str) -> None:
    answer = shared_site.app.test_client().get("/sign-in", headers={"Host": host})
    assert answer.status_code == 400
    assert_guarded(answer)
    assert "evil" not in answer.get_data(as_text=True)


def test_a_forwarded_host_is_not_believed(shared_site: Site) -> None:
    answer = shared_site.app.test_client().get(
        "/desk",
        base_url=ORIGIN,
        headers={"X-Forwarded-Host": "evil.example", "Forwarded": "host=evil.example"},
    )
    assert answer.status_code == 303
    assert answer.headers["Location"].startswith("/sign-in")


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(shared_site: Site, method: str) -> None:
    answer = shared_site.app.test_client().open("/sign-in", method=method, base_url=ORIGIN)
    assert answer.status_code == 405
    assert say("web.method_not_allowed", {}) in unescape(answer.get_data(as_text=True))
    assert_guarded(answer)


# Where a form may come from


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
        {"Sec_Fetch_Site": "", "Origin": "https://evil.example"},
        {"Sec_Fetch_Site": "", "Origin": "null"},
        {"Sec_Fetch_Site": "", "Origin": "https://localhost.evil.example"},
        {"Sec_Fetch_Site": "", "Origin": "https://localhost:8421"},
        {"Sec_Fetch_Site": "", "Origin": ""},
    ],
)
def test_a_form_from_another_page_is_refused_even_with_a_token(site: Site, headers: dict[str, str]) -> None:
    browser = site.signed_in("ines")
    answer = browser.send_raw("/desk/tablets/code", {"csrf_token": browser.token()}, **headers)
    assert answer.status_code == 403
    assert "not ours" in answer.get_data(as_text=True)
    assert not codes(site)


def test_a_form_from_an_old_browser_that_sends_only_origin_is_taken(site: Site) -> None:
    browser = site.signed_in("ines")
    answer = browser.send_raw("/desk/tablets/code", {"csrf_token": browser.token()}, Sec_Fetch_Site="")
    assert answer.status_code == 200
    assert codes(site)


def codes(site: Site) -> int:
    """How many codes the ledger knows beyond the one that the house enrolled its tablet with."""
    with site.house.store.reading():
        return len(site.house.store.ledger.changes(kind="code.made")) - 1


@pytest.mark.parametrize("token", [None, "", "made up", "a.b.c"])
def test_a_form_without_its_token_comes_back_with_all_that_was_typed_but_secrets(
    shared_site: Site, token: str | None
) -> None:
    browser = shared_site.signed_in("ines")
    fields = {"reason": "Lent to <b>another</b> shop", "passphrase": "a secret that was typed"}
    answer = browser.send_raw(
        f"/desk/tablets/{MARK}/disable", {**fields, **({} if token is None else {"csrf_token": token})}
    )
    text = answer.get_data(as_text=True)
    assert answer.status_code == 400
    assert "Lent to &lt;b&gt;another&lt;/b&gt; shop" in text
    assert "a secret that was typed" not in text
    assert 'name="passphrase"' in text
    assert "Send again" in text


def test_of_a_field_that_was_sent_several_times_every_value_comes_back(shared_site: Site) -> None:
    browser = shared_site.signed_in("ines")
    answer = browser.client.post(
        f"/desk/tablets/{MARK}/disable",
        base_url=ORIGIN,
        data={"let_in": ["the first of two", "the second of two"]},
        headers={"Origin": ORIGIN},
    )
    text = answer.get_data(as_text=True)
    assert answer.status_code == 400
    assert "the first of two" in text
    assert "the second of two" in text


def test_the_page_that_came_back_can_be_sent_again(site: Site) -> None:
    browser = site.signed_in("ines")
    device = site.house.device.id
    came_back = browser.send_raw(f"/desk/tablets/{device}/disable", {"reason": "Broken glass"}).get_data(
        as_text=True
    )
    token = came_back.split('name="csrf_token" value="')[-1].split('"')[0]
    answer = browser.send_raw(
        f"/desk/tablets/{device}/disable", {"csrf_token": token, "reason": "Broken glass"}
    )
    assert answer.status_code == 303
    assert "out of use" in browser.page("/desk/tablets")


def test_a_form_left_open_over_a_weekend_is_taken_if_the_session_still_runs(site: Site) -> None:
    browser = site.signed_in("ines")
    token = browser.token()
    for _ in range(20):  # a page that is looked at now and then keeps its session
        site.house.clock.forward(minutes=25)
        browser.page("/desk")
    assert browser.send_raw("/desk/tablets/code", {"csrf_token": token}).status_code == 200


def test_a_form_sent_after_the_session_ended_keeps_what_was_typed_and_asks_to_sign_in(site: Site) -> None:
    browser = site.signed_in("ines")
    token = browser.token()
    site.house.clock.forward(hours=12)
    answer = browser.send_raw(
        f"/desk/tablets/{MARK}/disable", {"csrf_token": token, "reason": "Lost in the yard"}
    )
    text = answer.get_data(as_text=True)
    assert answer.status_code == 400
    assert "Lost in the yard" in text
    assert "/sign-in" in text


def test_after_signing_in_on_a_second_page_the_form_that_came_back_is_taken(site: Site) -> None:
    browser = site.signed_in("ines")
    device = site.house.device.id
    fields = {"csrf_token": browser.token(), "reason": "Lost in the yard"}
    site.house.clock.forward(hours=12)
    came_back = browser.send_raw(f"/desk/tablets/{device}/disable", fields).get_data(as_text=True)
    fields["csrf_token"] = came_back.split('name="csrf_token" value="')[-1].split('"')[0]
    assert browser.send("/sign-in", person="ines", passphrase=PASSPHRASES["ines"]).status_code == 303
    assert browser.send_raw(f"/desk/tablets/{device}/disable", fields).status_code == 303


# Sizes


def test_a_form_larger_than_forms_may_be_is_refused(shared_site: Site) -> None:
    browser = shared_site.signed_in("ines")
    answer = browser.send("/desk/tablets/x/disable", reason="x" * (SMALL + 1))
    assert answer.status_code == 413
    assert say("web.too_large", {}) in unescape(answer.get_data(as_text=True))
    assert_guarded(answer)


@pytest.mark.parametrize(
    ("endpoint", "most_bytes"),
    [
        ("api.events", 4_194_304),
        ("api.news", 262_144),
        ("api.sheet", 2_097_152),
        ("api.photo", 262_144),
        ("audit.verify", 16_777_216),
        ("past.look", 16_777_216),
        ("step_pictures.page", 13_631_488),
        ("registers.waiting_file", 17_825_792),
        ("desk.queue", 65_536),
        (None, 65_536),
    ],
)
def test_each_address_takes_as_many_bytes_as_was_decided_and_most_take_64_kib(
    endpoint: str | None, most_bytes: int
) -> None:
    """The figures are decisions of this program, no source; that there is one for each is ASVS 5.0, 5.2.1."""
    assert request_sizes.largest_body(endpoint) == most_bytes


@pytest.mark.parametrize(
    ("path", "most_kib"),
    [("/api/reach", 64), ("/api/head", 64), ("/api/enrol", 64), ("/api/events", 4096), ("/api/news", 256)],
)
def test_a_body_larger_than_its_address_takes_is_refused(shared_site: Site, path: str, most_kib: int) -> None:
    body = b'{"nonce":"' + b"x" * (1024 * most_kib - 12) + b'"}'
    assert shared_site.browser().call(path, body).status_code != 413
    answer = shared_site.browser().call(path, body + b" ")
    assert answer.status_code == 413
    assert answer.get_json() == {"code": "web.too_large", "fields": {}}


@pytest.mark.parametrize(("fields", "is_refused"), [(120, False), (121, True), (200, True)])
def test_a_form_of_very_many_fields_is_refused(shared_site: Site, fields: int, is_refused: bool) -> None:
    browser = shared_site.signed_in("ines")
    answer = browser.client.post(
        "/audit/verify",
        base_url=ORIGIN,
        data={f"field{number}": "x" for number in range(fields)},
        content_type="multipart/form-data",
        headers={"Origin": ORIGIN},
    )
    assert (answer.status_code == 413) == is_refused


# Faults


@pytest.mark.parametrize(
    ("status", "code"),
    [
        (400, "web.bad_request"),
        (403, "web.not_allowed"),
        (404, "web.not_found"),
        (405, "web.method_not_allowed"),
        (413, "web.too_large"),
        (415, "web.not_json"),
        (418, "web.bad_request"),
        (429, "web.too_many"),
        (500, "web.fault"),
        (503, "web.busy"),
    ],
)
def test_each_number_of_a_refusal_has_words_of_its_own(site: Site, status: int, code: str) -> None:
    def refuses() -> str:
        abort(status)

    site.app.view_functions["board.machines"] = refuses
    site.app.view_functions["api.reach"] = refuses
    page = site.browser().get("/")
    assert page.status_code == status
    assert say(code, {}) in unescape(page.get_data(as_text=True))
    call = site.browser().call("/api/reach", {})
    assert (call.status_code, call.get_json()) == (status, {"code": code, "fields": {}})


@pytest.mark.parametrize(
    ("refusal", "status"),
    [
        (TooManyTries(seconds=3), 429),
        (StoppedAfterTries(), 429),
        (NoSuchSetup(setup="x"), 404),
        (OwnSetup(), 403),
        (DecidedAlready(by="ines", at_utc="2026-11-25T08:00:00.000Z"), 409),
        (ReasonMissing(longest=2000), 422),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else str(value),
)
def test_a_rule_that_says_no_has_the_number_of_its_kind(
    site: Site, refusal: DomainError, status: int
) -> None:
    def refuses() -> str:
        raise refusal

    site.app.view_functions["board.machines"] = refuses
    site.app.view_functions["api.reach"] = refuses
    assert site.browser().get("/").status_code == status
    call = site.browser().call("/api/reach", {})
    assert (call.status_code, call.get_json()["code"]) == (status, refusal.code)


def test_the_clock_is_looked_at_before_something_may_be_written_and_not_where_it_is_only_read(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked: list[str] = []
    monkeypatch.setattr(guards, "_look_at_clock", lambda: looked.append(request.path))
    site.browser().get("/")
    assert looked == []
    site.browser().call("/api/reach", {})
    assert looked == ["/api/reach"]


def test_a_fault_says_nothing_of_the_inside_and_is_logged(
    site: Site, caplog: pytest.LogCaptureFixture
) -> None:
    def broken() -> str:
        raise RuntimeError("secret detail of the inside")

    site.app.view_functions["board.machines"] = broken
    site.app.view_functions["api.reach"] = broken
    page = site.browser().get("/")
    assert page.status_code == 500
    assert "secret detail" not in page.get_data(as_text=True)
    assert_guarded(page)
    call = site.browser().call("/api/reach", {})
    assert call.status_code == 500
    assert call.get_json() == {"code": "web.fault", "fields": {}}
    assert len([one for one in caplog.records if one.exc_info]) == 2


def test_when_even_the_error_page_fails_plain_words_are_left(site: Site) -> None:
    def broken() -> str:
        raise RuntimeError("first")

    def also_broken(_: str, __: object = None) -> str:
        raise RuntimeError("second")

    site.app.view_functions["board.machines"] = broken
    site.app.jinja_env.globals["plain"] = also_broken
    answer = site.browser().get("/")
    assert answer.status_code == 500
    assert answer.mimetype == "text/plain"
    assert "It was noted" in answer.get_data(as_text=True)


def test_strict_transport_is_promised_for_a_name_served_by_tls_only(site: Site) -> None:
    assert "Strict-Transport-Security" not in site.browser().get("/").headers
    app = Flask("by_tls")
    headers.init_app(app, by_tls=True)
    client = app.test_client()
    assert (
        client.get("/", base_url="https://setup.shop.example").headers["Strict-Transport-Security"]
        == "max-age=86400"
    )
    for address in ("https://10.0.0.7:8420", "https://[::1]:8420"):
        assert "Strict-Transport-Security" not in client.get("/", base_url=address).headers
