"""The four calls of a tablet over HTTP: reach, enrol, events, news;
and what is refused before it means anything.
"""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Any

import pytest
from werkzeug.test import EnvironBuilder, TestResponse

from tests.kit.device import Device
from tests.kit.shop import PINS
from tests.web.conftest import ORIGIN, TABLET, Site
from webapp.domain.evidence.consistency import is_consistent
from webapp.proof.keys.jws import DeviceKey
from webapp.proof.ledger.signed_note import NoteVerifier
from webapp.services.evidence.signed_heads import read_head
from webapp.services.intake import enrolling
from webapp.services.intake.tablets_in_use import MOST_TRIED
from webapp.web.edge.strangers import AT_ONCE, SECONDS_EACH

NONCE = "bm9uY2Utb2YtYS10YWJsZXQ"


@pytest.fixture(autouse=True)
def _time_goes_on(shared_site: Site) -> None:
    """So many bad calls at once would be held back: each test of the shared shop comes some minutes later."""
    shared_site.house.clock.forward(seconds=AT_ONCE * SECONDS_EACH)


def payload_of(site: Site, jws: str, typ: str) -> dict[str, Any]:
    key = DeviceKey.from_jwk(site.house.keyring.receipt_jwk)
    return dict(json.loads(key.verify(jws, typ).payload_bytes))


def reached(site: Site) -> dict[str, Any]:
    answer = site.browser().call("/api/reach", {"nonce": NONCE})
    assert answer.status_code == 200
    return payload_of(site, answer.get_json()["answer"], "zerokeep-reach+jws")


def news_request(device: Device, challenge: str, **more: Any) -> dict[str, str]:
    payload = {"domain": "zerokeep/request/1", "challenge": challenge, "have": [], "setups": [], **more}
    return {"request": device.signed(payload, "zerokeep-request+jws")}


def test_reach_is_signed_and_names_the_version_of_the_shell(site: Site) -> None:
    answer = reached(site)
    assert answer["nonce"] == NONCE
    assert answer["shell"] == site.app.extensions["zerokeep"].shell.version


def test_a_signed_head_comes_with_the_proof_that_the_ledger_grew_from_the_one_before(site: Site) -> None:
    def head(since: int) -> dict[str, Any]:
        answer = site.browser().call("/api/head", {"nonce": NONCE, "since": since})
        assert answer.status_code == 200
        return payload_of(site, answer.get_json()["answer"], "zerokeep-head+jws")

    first = head(0)
    assert first["nonce"] == NONCE
    key = NoteVerifier.from_text(first["key"])
    before = read_head(first["note"], [key])
    site.house.accept(site.house.walk().start().parts)
    later = head(before.size)
    now = read_head(later["note"], [key])
    roots = bytes.fromhex(before.root), bytes.fromhex(now.root)
    proof = [bytes.fromhex(one) for one in later["proof"]]
    assert is_consistent(before.size, roots[0], now.size, roots[1], proof)
    assert head(now.size + 1)["proof"] is None


def test_no_head_is_signed_once_the_ledger_went_back(site: Site) -> None:
    site.house.store.kept_head.replace(10**6, "ab" * 32)
    answer = site.browser().call("/api/head", {"nonce": NONCE, "since": 0})
    assert answer.status_code == 409
    assert answer.get_json()["code"] == "services.ledger_went_back"


def test_a_tablet_enrols_with_a_code_that_the_desk_showed_once(site: Site) -> None:
    lead = site.signed_in("ines")
    page = lead.send("/desk/tablets/code").get_data(as_text=True)
    code = page.split('class="v code">')[1].split("<")[0].replace(" ", "")
    assert len(code) == 10
    assert code not in lead.page("/desk/tablets")
    device = Device(90_777, "Tablet at Dunlin")
    body = {
        "code": code,
        "name": device.name,
        "jwk": device.jwk,
        "display": "standalone",
        "proof": device.enrol_proof(code),
    }
    answer = site.browser().call("/api/enrol", body)
    assert answer.status_code == 200, answer.get_json()
    assert answer.get_json()["device"] == device.id
    assert "Tablet at Dunlin" in lead.page("/desk/tablets")
    again = site.browser().call("/api/enrol", {**body, "jwk": Device(90_778).jwk})
    assert again.status_code in {403, 422}


def test_a_whole_setup_goes_from_a_tablet_to_the_leads_queue(site: Site) -> None:
    walk = site.house.walk().through()
    walk.sign(PINS["mara"], site.house.keyring)
    answer = site.browser().call("/api/events", {"events": walk.parts})
    assert answer.status_code == 200
    receipts = payload_of(site, answer.get_json()["receipts"], "zerokeep-receipt+jws")["receipts"]
    assert [one["event"] for one in receipts] == [event["id"] for event in walk.events]
    assert {one["outcome"] for one in receipts} == {"accepted"}
    assert receipts[-1]["signature"] == "verified"
    assert walk.setup in site.signed_in("ines").page("/desk")


def test_the_same_upload_twice_stores_it_once_and_says_so(site: Site) -> None:
    walk = site.house.walk().start()
    for outcome in ("accepted", "already_had"):
        answer = site.browser().call("/api/events", {"events": walk.parts})
        receipts = payload_of(site, answer.get_json()["receipts"], "zerokeep-receipt+jws")["receipts"]
        assert {one["outcome"] for one in receipts} == {outcome}


def test_news_brings_sheets_and_the_decisions_of_the_tablets_setups(site: Site) -> None:
    walk = site.house.signed_off()
    request = news_request(site.house.device, reached(site)["challenge"], setups=[walk.setup])
    answer = site.browser().call("/api/news", request).get_json()
    assert answer["device"] == {"state": "enrolled"}
    sheet = json.loads(answer["sheets"][0]["text"])
    assert sheet["domain"] == "zerokeep/sheet/1"
    assert answer["sheets"][0]["hash"] == sha256(answer["sheets"][0]["text"].encode()).hexdigest()
    assert "setup.signed_off" in [json.loads(text)["type"] for text in answer["decisions"]]
    had = news_request(
        site.house.device, reached(site)["challenge"], have=[one["hash"] for one in answer["sheets"]]
    )
    assert {one["text"] for one in site.browser().call("/api/news", had).get_json()["sheets"]} == {None}


def test_a_request_recorded_earlier_brings_no_news(site: Site) -> None:
    request = news_request(site.house.device, reached(site)["challenge"])
    site.house.clock.forward(minutes=6)
    answer = site.browser().call("/api/news", request)
    assert answer.status_code == 403
    assert answer.get_json()["code"] == "services.challenge_refused"


def test_a_tablet_that_nobody_enrolled_gets_no_news(site: Site) -> None:
    answer = site.browser().call("/api/news", news_request(Device(90_900), reached(site)["challenge"]))
    assert answer.status_code == 403


def test_a_tablet_out_of_use_learns_only_that(site: Site) -> None:
    lead = site.signed_in("ines")
    assert lead.send(f"/desk/tablets/{site.house.device.id}/disable", reason="Cracked.").status_code == 303
    answer = site.browser().call("/api/news", news_request(site.house.device, reached(site)["challenge"]))
    assert answer.get_json() == {"sheets": [], "decisions": [], "device": {"state": "disabled"}}


def test_a_wait_after_wrong_codes_is_said_in_the_header_too(site: Site) -> None:
    device = Device(90_777, "Tablet at Dunlin")
    for _ in range(25):
        code = "WRONGWRONG"
        body = {"code": code, "name": device.name, "jwk": device.jwk, "display": "standalone"}
        answer = site.browser().call("/api/enrol", {**body, "proof": device.enrol_proof(code)})
    assert answer.status_code == 429
    said = answer.get_json()
    assert said["code"] == "services.too_many_tries"
    assert answer.headers["Retry-After"] == str(said["fields"]["seconds"])


# Strangers are held back by their address, tablets in use never


def strangers_upload(site: Site, number: int) -> dict[str, Any]:
    """A batch of one event by a key that nobody enrolled."""
    stranger = Device(91_000 + number)
    walk = site.house.walk(device=stranger).start()
    return {"events": walk.parts}


def use_up(site: Site, body: Any, path: str = "/api/events") -> TestResponse:
    """Call until the address has had its share; the answer that says so."""
    for _ in range(AT_ONCE):
        answer = site.browser().call(path, body)
        assert answer.status_code != 429, answer.get_json()
    return site.browser().call(path, body)


def test_uploads_of_a_stranger_are_held_back_with_the_seconds_to_wait(site: Site) -> None:
    body = strangers_upload(site, 1)
    answer = use_up(site, body)
    assert answer.status_code == 429
    assert answer.get_json() == {"code": "web.too_many", "fields": {}}
    assert answer.headers["Retry-After"] == str(SECONDS_EACH)
    with site.house.store.reading():
        before = site.house.store.ledger.size()
    assert site.browser().call("/api/events", strangers_upload(site, 2)).status_code == 429
    with site.house.store.reading():
        assert site.house.store.ledger.size() == before
    site.house.clock.forward(seconds=SECONDS_EACH)
    assert site.browser().call("/api/events", body).status_code == 200
    assert site.browser().call("/api/events", body).status_code == 429


def test_a_tablet_in_use_is_never_held_back_whoever_is_behind_its_address(site: Site) -> None:
    assert use_up(site, strangers_upload(site, 1)).status_code == 429
    walk = site.house.walk().start()
    strange = strangers_upload(site, 2)["events"]
    for part in walk.parts:
        answer = site.browser().call("/api/events", {"events": [*strange, part]})
        assert answer.status_code == 200
    assert reached(site)["challenge"]
    news = site.browser().call("/api/news", news_request(site.house.device, reached(site)["challenge"]))
    assert news.status_code == 200
    with site.house.store.reading():
        assert site.house.store.setups.setup(walk.setup) is not None


def test_the_uploads_of_a_tablet_in_use_use_nothing_up(site: Site) -> None:
    walk = site.house.walk().start()
    for _ in range(2 * AT_ONCE):
        assert site.browser().call("/api/events", {"events": walk.parts}).status_code == 200
    assert site.browser().call("/api/events", strangers_upload(site, 1)).status_code == 200


def test_the_name_of_a_tablet_in_use_without_its_signature_lets_nobody_through(site: Site) -> None:
    walk = site.house.walk().start()
    body = {"events": [{"jws": f"{walk.parts[0]['jws'][:-4]}AAAA", "pin": None}]}
    assert use_up(site, body).status_code == 429


def test_only_the_first_few_texts_of_an_upload_are_looked_at_for_a_tablet_in_use(site: Site) -> None:
    strange = strangers_upload(site, 1)["events"]
    own = site.house.walk().start().parts
    assert use_up(site, {"events": strange}).status_code == 429
    batch = [*strange * MOST_TRIED, *own]
    assert site.browser().call("/api/events", {"events": batch}).status_code == 429
    assert site.browser().call("/api/events", {"events": batch[1:]}).status_code == 200


def test_a_disabled_tablet_counts_as_a_stranger(site: Site) -> None:
    walk = site.house.walk().start()
    enrolling.disable(site.house.store, site.house.device.id, "ines", "Lost.", site.house.clock())
    assert use_up(site, {"events": walk.parts}).status_code == 429
    answer = site.browser().call("/api/news", news_request(site.house.device, reached(site)["challenge"]))
    assert answer.status_code == 429


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/api/events", b"{"),
        ("/api/events", {"events": []}),
        ("/api/reach", {"nonce": "no"}),
        ("/api/head", {"nonce": "no", "since": 0}),
        ("/api/news", {"request": "x"}),
        ("/api/enrol", {"code": 1}),
    ],
)
def test_what_cannot_be_read_is_counted_and_then_held_back(site: Site, path: str, body: Any) -> None:
    assert use_up(site, body, path).status_code == 429
    other = site.browser()
    other.client.environ_base["REMOTE_ADDR"] = "10.0.0.66"
    assert other.call(path, body).status_code != 429


def test_a_readable_question_whether_the_server_is_reached_is_always_answered(site: Site) -> None:
    assert use_up(site, {"nonce": "no"}, "/api/reach").status_code == 429
    assert reached(site)["challenge"]


# What is refused before it means anything


@pytest.mark.parametrize("path", ["/api/reach", "/api/head", "/api/enrol", "/api/events", "/api/news"])
@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"X_Zerokeep": ""}, 403),
        ({"X_Zerokeep": "2"}, 403),
        ({"Sec_Fetch_Site": "cross-site"}, 403),
        ({"Sec_Fetch_Site": "same-site"}, 403),
        ({"Sec_Fetch_Site": "", "Origin": "https://evil.example"}, 403),
        ({"Content_Type": "text/plain"}, 415),
        ({"Content_Type": "application/x-www-form-urlencoded"}, 415),
    ],
)
def test_a_call_that_a_foreign_page_could_make_is_refused(
    shared_site: Site, path: str, headers: dict[str, str], status: int
) -> None:
    answer = shared_site.browser().call(path, {"nonce": NONCE}, **headers)
    assert answer.status_code == status
    assert set(answer.get_json()) == {"code", "fields"}


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'"text"',
        b'{"events":[]',
        b'{"events":[],"events":[]}',
        b'{"events":[],"more":1}',
        b'{"events":NaN}',
        b'{"events":{}}',
        b'{"events":[1]}',
        b'{"events":[{"jws":"x"}]}',
        b'{"events":[{"jws":1,"pin":null}]}',
        b'{"events":[{"jws":"x","pin":0}]}',
        b'{"events":[{"jws":"x","pin":null,"extra":1}]}',
        b"\xff\xfe{}",
        b'{"events":' + b"[" * 3000 + b"]" * 3000 + b"}",
    ],
)
def test_a_batch_that_is_not_whole_json_is_a_400_and_nothing_is_stored(
    shared_site: Site, body: bytes
) -> None:
    with shared_site.house.store.reading():
        before = shared_site.house.store.ledger.size()
    answer = shared_site.browser().call("/api/events", body)
    assert answer.status_code == 400
    assert set(answer.get_json()) == {"code", "fields"}
    with shared_site.house.store.reading():
        assert shared_site.house.store.ledger.size() == before


def test_a_batch_of_too_many_events_is_refused_whole(shared_site: Site) -> None:
    answer = shared_site.browser().call("/api/events", {"events": [{"jws": "x", "pin": None}] * 501})
    assert answer.status_code == 400


def test_a_body_that_was_cut_short_is_refused_and_nothing_is_stored(site: Site) -> None:
    walk = site.house.walk().start()
    whole = json.dumps({"events": walk.parts}).encode()
    builder = EnvironBuilder(
        "/api/events",
        base_url=ORIGIN,
        method="POST",
        headers={"Sec-Fetch-Site": "same-origin", **TABLET},
        data=whole[: len(whole) // 2],
    )
    environ = builder.get_environ()
    environ["CONTENT_LENGTH"] = str(len(whole))
    answer = site.app.test_client().open(environ)
    assert answer.status_code == 400
    with site.house.store.reading():
        assert site.house.store.setups.setup(walk.setup) is None


@pytest.mark.parametrize(
    "body",
    [{"nonce": 1}, {}, {"nonce": NONCE, "more": 1}, {"nonce": None}],
)
def test_a_reach_of_the_wrong_shape_is_a_400(shared_site: Site, body: Any) -> None:
    assert shared_site.browser().call("/api/reach", body).status_code == 400


def test_a_nonce_that_is_none_is_refused_by_name(shared_site: Site) -> None:
    answer = shared_site.browser().call("/api/reach", {"nonce": "no"})
    assert answer.status_code == 403
    assert answer.get_json()["code"] == "services.challenge_refused"


def test_a_session_of_a_lead_gives_a_tablet_nothing(site: Site) -> None:
    lead = site.signed_in("ines")
    answer = lead.call("/api/news", news_request(Device(90_900), reached(site)["challenge"]))
    assert answer.status_code == 403
