"""What people type anywhere reaches every page as text, whatever it looks like."""

from __future__ import annotations

import html

import pytest

from tests.kit.shop import CENTRES_NM, PASSPHRASES
from tests.web.conftest import Site
from webapp.domain.plain.directions import shown

PAYLOADS = [
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    '"><svg onload=alert(1)>',
    "'><iframe srcdoc='<script>alert(1)</script>'>",
    "</textarea><script>alert(1)</script>",
    "</title><script>alert(1)</script>",
    "{{ 7191 * 70001 }} {% raw %} ${7191*70001} #{7191*70001}",
    "javascript:alert(1)",
    '<math><mi//xlink:href="data:x,<script>alert(1)</script>">',
    "&lt;script&gt;alert(1)&lt;/script&gt;",
    "=1+1|' /C calc'!A0",
    "＜script＞alert(1)＜/script＞",
    "\u202eright to left\u202c",
]


def assert_text_only(page: str, payload: str, *, in_a_field: bool = False) -> None:
    if not in_a_field:  # where it is only read, a control of direction stands by its name
        payload = shown(payload)
    assert (
        html.escape(payload, quote=False) in page
        or html.escape(payload).replace("&#x27;", "&#39;").replace("&quot;", "&#34;") in page
    )
    lowered = page.lower()
    for start in ("<script>alert", "<img src=x", "<svg onload", "<iframe", "<math", "onerror=alert(1)>"):
        assert start not in lowered, start
    assert "503377191" not in page


@pytest.mark.parametrize("payload", PAYLOADS)
def test_a_question_from_a_tablet_is_text_on_every_page(shared_site: Site, payload: str) -> None:
    walk = shared_site.house.walk().start().until("touch", "X")
    walk.touch(CENTRES_NM["X"])
    question = walk.question(PAYLOADS.index(payload), "X", payload)
    walk.event("worry.raised", {"worry": "other", "text": payload})
    shared_site.house.accept(walk.parts)
    lead = shared_site.signed_in("ines")
    for path in ("/desk", f"/desk/setups/{walk.setup}", f"/desk/questions/{question}"):
        assert_text_only(lead.page(path), payload)


@pytest.mark.parametrize("payload", PAYLOADS)
def test_a_note_that_is_refused_comes_back_as_text(shared_site: Site, payload: str) -> None:
    walk = shared_site.house.signed()
    lead = shared_site.signed_in("ines")
    answer = lead.decide(f"/desk/setups/{walk.setup}/sign-off", note=payload, passphrase="wrong wrong wrong")
    assert_text_only(answer.get_data(as_text=True), payload, in_a_field=True)


@pytest.mark.parametrize("payload", PAYLOADS)
def test_a_name_typed_at_the_sign_in_comes_back_as_text(site: Site, payload: str) -> None:
    """In a shop of its own: wrong tries count for the place that they come from."""
    answer = site.browser().send("/sign-in", person=payload[:60], passphrase="wrong wrong wrong")
    assert_text_only(answer.get_data(as_text=True), payload[:60], in_a_field=True)


@pytest.mark.parametrize("payload", PAYLOADS)
def test_an_address_is_text_in_the_filter_of_setups(shared_site: Site, payload: str) -> None:
    asked = dict.fromkeys(("from", "person", "machine", "start"), payload)
    answer = shared_site.signed_in("ines").get("/desk/setups", query_string=asked)
    assert answer.status_code == 200
    assert_text_only(answer.get_data(as_text=True), payload)


@pytest.mark.parametrize("payload", PAYLOADS)
def test_a_form_that_comes_back_holds_text(shared_site: Site, payload: str) -> None:
    lead = shared_site.signed_in("ines")
    answer = lead.send_raw("/desk/tablets/x/disable", {"reason": payload, payload[:40]: payload})
    assert_text_only(answer.get_data(as_text=True), payload)


def test_a_reason_of_the_lead_is_text_for_the_operator(shared_site: Site) -> None:
    walk = shared_site.house.signed()
    lead = shared_site.signed_in("ines")
    payload = PAYLOADS[0]
    lead.decide(f"/desk/setups/{walk.setup}/not-accepted", reason=payload, passphrase=PASSPHRASES["ines"])
    assert_text_only(shared_site.signed_in("mara").page(f"/desk/setups/{walk.setup}"), payload)
