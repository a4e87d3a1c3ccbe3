"""Sending: an event leaves the outbox by a verified receipt for just that event, and by nothing else."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable
from hashlib import sha256
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from playwright.sync_api import BrowserContext, Page, Route

from tests.kit.chromium import wait_until
from tests.kit.modules import OUTBOX, open_modules
from webapp.proof.keys.jws import event_id, public_jwk, sign

KEY, OTHER_KEY = (ec.derive_private_key(number, ec.SECP256R1()) for number in (7001, 7002))
JWK = public_jwk(KEY.public_key())
START = """async enrolment => {
  self.enrolment = enrolment;
  await (START_OUTBOX)();
  const {Api} = await import('/assets/trial/js/api.js');
  const {Clock} = await import('/assets/trial/js/clock.js');
  const {Shelf} = await import('/assets/trial/js/store/shelf.js');
  const {Sync} = await import('/assets/trial/js/sync.js');
  self.clock = new Clock();
  self.shelf = new Shelf(store);
  const asks = {setups: async () => ['s'], inUse: () => new Set()};
  self.api = new Api();
  self.sync = new Sync({api, outbox, shelf, device, clock, ...asks});
  self.send = async () => { await sync.run(); return {...sync.state, ...await outbox.tally()}; };
}""".replace("START_OUTBOX", OUTBOX)


class FakeServer:
    """The three calls of a server that does as it is told."""

    def __init__(self) -> None:
        self.key, self.nonce, self.at_utc = KEY, None, "2026-11-25T08:03:12.345Z"
        self.shell, self.code = "trial", "intake.malformed"
        self.outcome: Callable[[str], str | None] = lambda _: "accepted"
        self.events: list[list[str]] = []
        self.sheets: list[dict[str, Any]] = []
        self.decisions: list[str] = []
        self.in_place_of_receipts: Callable[[Route], Any] | None = None
        self.calls = {"/api/reach": self.reach, "/api/events": self.receive, "/api/news": self.news}

    def signed(self, payload: dict[str, Any], typ: str) -> str:
        return sign(json.dumps(payload).encode(), self.key, JWK["kid"], typ)

    def reach(self, route: Route) -> None:
        nonce = self.nonce or route.request.post_data_json["nonce"]
        payload = {
            "domain": "zerokeep/reach/1",
            "nonce": nonce,
            "at_utc": self.at_utc,
            "challenge": "c",
            "shell": self.shell,
        }
        route.fulfill(json={"answer": self.signed(payload, "zerokeep-reach+jws")})

    def receive(self, route: Route) -> None:
        batch = [event_id(one["jws"]) for one in route.request.post_data_json["events"]]
        self.events.append(batch)
        if self.in_place_of_receipts:
            self.in_place_of_receipts(route)
            return
        receipts = [
            {"event": one, "outcome": self.outcome(one), "code": self.code}
            for one in batch
            if self.outcome(one)
        ]
        payload = {"domain": "zerokeep/receipts/1", "at_utc": self.at_utc, "receipts": receipts}
        route.fulfill(json={"receipts": self.signed(payload, "zerokeep-receipt+jws")})

    def news(self, route: Route) -> None:
        route.fulfill(
            json={"sheets": self.sheets, "decisions": self.decisions, "device": {"state": "enrolled"}}
        )


@pytest.fixture
def fake() -> FakeServer:
    return FakeServer()


@pytest.fixture
def page(new_context: Callable[..., BrowserContext], fake: FakeServer) -> Page:
    """A page with three events that wait."""
    page = open_modules(new_context(), fake.calls)  # type: ignore[arg-type]
    page.evaluate(START, {"receipt_key": JWK})
    page.evaluate("async () => { for (let n = 1; n <= 3; n += 1) await outbox.append(body()); }")
    return page


def send(page: Page) -> dict[str, Any]:
    return dict(page.evaluate("() => send()"))


def test_what_the_server_has_taken_leaves_the_outbox_in_order(page: Page, fake: FakeServer) -> None:
    before = page.evaluate("() => outbox.waiting().then(rows => rows.map(row => row.id))")
    state = send(page)
    assert (state["count"], state["reached"]) == (0, True)
    assert fake.events == [before]


def never_answers(_: Route) -> None:
    """A server that takes the call and says nothing."""


@pytest.mark.parametrize(
    "failing",
    [
        lambda route: route.fulfill(status=500, json={"code": "web.broken", "fields": {}}),
        lambda route: route.fulfill(status=200, body="<html>a portal of the network</html>"),
        lambda route: route.fulfill(status=200, body='{"receipts": "cut sho'),
        lambda route: route.fulfill(status=200, json={"receipts": "a.b.c"}),
        lambda route: route.fulfill(status=200, json=None),
        lambda route: route.abort("connectionreset"),
        never_answers,
    ],
    ids=["500", "garbage", "cut short", "no receipt", "null", "connection lost", "no answer in time"],
)
def test_a_failing_server_leaves_the_outbox_as_it_is(
    page: Page, fake: FakeServer, failing: Callable[[Route], Any]
) -> None:
    if failing is never_answers:
        page.evaluate("() => { api.waitMs = 200; }")
    fake.in_place_of_receipts = failing
    for _ in range(3):
        state = send(page)
        assert (state["count"], state["reached"]) == (3, False)
    page.evaluate("() => { api.waitMs = 15_000; }")
    fake.in_place_of_receipts = None
    assert send(page)["count"] == 0, "nothing had expired"


def test_a_server_that_says_later_is_asked_again_after_the_seconds_it_names(
    page: Page, fake: FakeServer
) -> None:
    page.evaluate("() => { self.moment = 0; clock.forward = () => moment; }")
    fake.in_place_of_receipts = lambda route: route.fulfill(
        status=429, json={"code": "web.too_many", "fields": {}}, headers={"Retry-After": "30"}
    )
    state = send(page)
    assert (state["count"], state["reached"], state["code"]) == (3, False, "web.too_many")
    fake.in_place_of_receipts = None
    page.evaluate("() => { moment = 29_999; }")
    assert (send(page)["count"], len(fake.events)) == (3, 1)
    page.evaluate("() => { moment = 30_000; }")
    assert (send(page)["count"], len(fake.events)) == (0, 2)


def test_no_server_makes_a_tablet_wait_longer_than_a_minute(page: Page, fake: FakeServer) -> None:
    page.evaluate("() => { self.moment = 0; clock.forward = () => moment; }")
    fake.in_place_of_receipts = lambda route: route.fulfill(
        status=429, json={"code": "web.too_many", "fields": {}}, headers={"Retry-After": "86400"}
    )
    send(page)
    fake.in_place_of_receipts = None
    page.evaluate("() => { moment = 60_000; }")
    assert send(page)["count"] == 0


def test_a_receipt_by_another_key_counts_for_nothing(page: Page, fake: FakeServer) -> None:
    def forged(route: Route) -> None:
        fake.key, fake.in_place_of_receipts = OTHER_KEY, None
        fake.receive(route)

    fake.in_place_of_receipts = forged
    state = send(page)
    assert (state["count"], state["code"]) == (3, "jws.signature")


def test_a_receipt_for_other_events_counts_for_nothing(page: Page, fake: FakeServer) -> None:
    def other(route: Route) -> None:
        receipts = [{"event": "ab" * 32, "outcome": "accepted"}]
        payload = {"domain": "zerokeep/receipts/1", "at_utc": fake.at_utc, "receipts": receipts}
        route.fulfill(json={"receipts": fake.signed(payload, "zerokeep-receipt+jws")})

    fake.in_place_of_receipts = other
    assert send(page)["count"] == 3


def test_a_lost_acknowledgement_is_made_good_by_sending_again(page: Page, fake: FakeServer) -> None:
    fake.in_place_of_receipts = lambda route: route.abort("connectionreset")
    send(page)
    fake.in_place_of_receipts, fake.outcome = None, lambda _: "already_had"
    assert send(page)["count"] == 0
    assert fake.events[0] == fake.events[1]


@pytest.mark.parametrize("outcome", ["kept_out_of_order", "refused"])
def test_an_event_that_was_not_taken_stays_and_is_shown(page: Page, fake: FakeServer, outcome: str) -> None:
    second = page.evaluate("() => outbox.waiting().then(rows => rows[1].id)")
    fake.outcome = lambda event: outcome if event == second else "accepted"
    assert send(page)["count"] == 1
    kept = page.evaluate("() => Promise.all([outbox.waiting(), outbox.refused()]).then(rows => rows.flat())")
    assert [(row["id"], row["outcome"]["outcome"]) for row in kept] == [(second, outcome)]


def test_what_is_refused_for_good_is_kept_and_sent_again_only_when_the_answer_may_be_another(
    page: Page, fake: FakeServer
) -> None:
    page.evaluate("() => { self.moment = 0; clock.forward = () => moment; }")
    fake.outcome = lambda _: "refused"
    assert send(page)["count"] == 3
    send(page)
    assert len(fake.events) == 1, "not at every turn"
    assert page.evaluate("() => outbox.tally()") == {
        "count": 3,
        "refused": 3,
        "photos": 0,
        "oldestAtUtc": "2026-11-25T08:03:12.345Z",
    }
    for moment, batches in ((599_999, 1), (600_000, 2), (1_799_999, 2), (1_800_000, 3)):
        page.evaluate("at => { moment = at; }", moment)
        send(page)
        assert len(fake.events) == batches, f"after {moment} ms: a pause that doubles"
    fake.shell = "later"
    send(page)
    assert len(fake.events) == 4, "another version of the server may know the event"
    fake.outcome = lambda _: "accepted"
    page.evaluate(START, {"receipt_key": JWK})
    assert send(page)["count"] == 0
    assert fake.events[-1] == fake.events[0], "at a start, in the order of the chain"


def test_asking_again_that_did_not_reach_the_server_is_made_up_at_the_next_turn(
    page: Page, fake: FakeServer
) -> None:
    page.evaluate("() => { self.moment = 0; clock.forward = () => moment; }")
    fake.outcome = lambda _: "refused"
    send(page)
    page.evaluate("() => { moment = 600_000; }")
    fake.in_place_of_receipts = lambda route: route.abort("connectionreset")
    send(page)
    fake.in_place_of_receipts, fake.outcome = None, lambda _: "accepted"
    assert send(page)["count"] == 0


def test_what_is_refused_for_now_is_sent_at_the_next_turn(page: Page, fake: FakeServer) -> None:
    fake.outcome, fake.code = lambda _: "refused", "chain.too_many_waiting"
    send(page)
    fake.outcome = lambda _: "accepted"
    assert send(page)["count"] == 0


def test_a_new_event_is_sent_at_once_beside_refused_ones(page: Page, fake: FakeServer) -> None:
    fake.outcome = lambda _: "refused"
    send(page)
    fake.outcome = lambda _: "accepted"
    new = page.evaluate("() => outbox.append(body()).then(row => row.id)")
    assert send(page)["count"] == 3
    assert fake.events[-1] == [new]


def test_many_events_that_are_refused_do_not_hold_up_those_behind_them(page: Page, fake: FakeServer) -> None:
    page.evaluate("async () => { for (let n = 4; n <= 203; n += 1) await outbox.append(body()); }")
    waiting = page.evaluate("() => outbox.waiting().then(rows => rows.map(row => row.id))")
    fake.outcome = lambda event: "refused" if event in waiting[:200] else "accepted"
    assert send(page)["count"] == 200
    assert [len(batch) for batch in fake.events] == [200, 3], "each once a run"


def test_a_replayed_answer_is_no_reach(page: Page, fake: FakeServer) -> None:
    fake.nonce = "an-answer-to-an-older-question"
    state = send(page)
    assert (state["reached"], state["code"], fake.events) == (False, "sync.other_nonce", [])
    assert page.evaluate("() => navigator.onLine"), "the browser's own word is not asked"


def test_a_wrong_clock_is_said_and_changes_no_order(page: Page, fake: FakeServer) -> None:
    assert not page.evaluate("() => clock.isWrong")
    fake.at_utc = "2020-01-01T00:00:00.000Z"
    send(page)
    assert page.evaluate("() => clock.isWrong")
    assert len(fake.events[0]) == 3


def test_a_sheet_whose_text_has_another_hash_is_not_kept(page: Page, fake: FakeServer) -> None:
    text = json.dumps({"machine": {"id": "mill-1", "name": "Plover"}})
    fake.sheets = [
        {"hash": sha256(text.encode()).hexdigest(), "text": text},
        {"hash": "cd" * 32, "text": text},
    ]
    send(page)
    assert page.evaluate("() => shelf.hashes()") == [fake.sheets[0]["hash"]]


def test_decisions_are_kept_once_and_by_setup(page: Page, fake: FakeServer) -> None:
    fake.decisions = [json.dumps({"setup": "s", "type": "question.answered", "data": {}})]
    send(page)
    send(page)
    assert len(page.evaluate("() => shelf.decisions('s')")) == 1


def test_the_pin_seal_is_erased_once_the_server_has_it(page: Page) -> None:
    page.evaluate(
        "() => outbox.append(body('setup.signed', {meaning: 'performed'}), async id => `seal of ${id}`)"
    )
    assert page.evaluate("() => outbox.waiting().then(rows => rows.at(-1).pin)").startswith("seal of ")
    send(page)
    pins = page.evaluate("() => outbox.ofSetup(body().setup).then(rows => rows.map(row => row.pin))")
    assert pins == [None] * 4


def test_runs_at_the_same_moment_become_one_after_the_other(page: Page, fake: FakeServer) -> None:
    page.evaluate("() => Promise.all([sync.run(), sync.run(), sync.run()])")
    wait_until(page, "() => outbox.tally().then(tally => tally.count === 0)")
    assert len(fake.events) == 1


def test_the_request_for_news_is_signed_by_the_tablet(
    new_context: Callable[..., BrowserContext], fake: FakeServer
) -> None:
    asked: list[str] = []

    def news(route: Route) -> None:
        asked.append(route.request.post_data_json["request"])
        fake.news(route)

    page = open_modules(new_context(), {**fake.calls, "/api/news": news})
    page.evaluate(START, {"receipt_key": JWK})
    send(page)
    header, payload, _ = (base64.urlsafe_b64decode(part + "==") for part in asked[0].split("."))
    assert json.loads(header)["kid"] == page.evaluate("() => device.id")
    request = json.loads(payload)
    health = request.pop("health")
    assert health.pop("skew_ms") == page.evaluate("() => clock.skewMs")
    assert health.pop("persisted") is page.evaluate("() => navigator.storage.persisted()")
    assert health.keys() == {"usage_bytes", "quota_bytes"}
    assert all(isinstance(size, int) and size > 0 for size in health.values())
    assert request == {
        "domain": "zerokeep/request/1",
        "challenge": "c",
        "have": [],
        "asks_which_fixture": True,
        "setups": ["s"],
    }
