"""What the tablet keeps, and what it says when it cannot:
IndexedDB 3.0 (W3C), with failures put in its way.
"""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.kit.modules import OUTBOX, open_modules
from webapp.domain.evidence.events import read_event
from webapp.proof.keys.jws import DeviceKey

FAIL_NEXT_ADD = """name => {
  const add = IDBObjectStore.prototype.add;
  IDBObjectStore.prototype.add = function () {
    IDBObjectStore.prototype.add = add;
    throw new DOMException('put in the way by a test', name);
  };
}"""


@pytest.fixture
def page(new_context: Callable[..., BrowserContext]) -> Page:
    """A page with an outbox on it."""
    page = open_modules(new_context())
    page.evaluate(OUTBOX)
    return page


def append(page: Page) -> str:
    return str(page.evaluate("() => tried(() => outbox.append(body()))"))


def test_events_are_chained_and_their_signatures_hold_outside_the_browser(page: Page) -> None:
    rows = page.evaluate("""async () => { await outbox.append(body()); await outbox.append(body());
      return (await outbox.waiting()).map(({id, jws, sequence}) => ({id, jws, sequence})); }""")
    jwk = page.evaluate("() => device.jwk")
    events = []
    for row in rows:
        verified = DeviceKey.from_jwk(jwk).verify(row["jws"])
        assert verified.event_id == row["id"]
        read_event(verified.payload_bytes)
        events.append(json.loads(verified.payload_bytes))
    assert [event["sequence"] for event in events] == [1, 2]
    assert [event["previous"] for event in events] == [None, rows[0]["id"]]


def test_an_event_is_written_with_strict_durability(page: Page) -> None:
    asked = page.evaluate("""async () => {
      const asked = [];
      const transaction = IDBDatabase.prototype.transaction;
      IDBDatabase.prototype.transaction = function (stores, mode, options) {
        if (mode === 'readwrite') asked.push([[...stores].sort().join(), options?.durability]);
        return transaction.call(this, stores, mode, options);
      };
      await outbox.append(body());
      return asked;
    }""")
    assert asked == [["chain,events", "strict"]]


def test_nothing_counts_as_kept_before_the_transaction_is_complete(page: Page) -> None:
    page.evaluate("""() => {
      const {set} = Object.getOwnPropertyDescriptor(IDBTransaction.prototype, 'oncomplete');
      Object.defineProperty(IDBTransaction.prototype, 'oncomplete', {set(told) {
        set.call(this, event => {
          if (this.mode === 'readonly') told(event); else self.letGo = () => told(event);
        });
      }});
      self.outcome = 'not yet';
      outbox.append(body()).then(() => { self.outcome = 'kept'; });
    }""")
    page.wait_for_function("() => self.letGo !== undefined")
    page.wait_for_timeout(100)
    assert page.evaluate("() => outcome") == "not yet"
    page.evaluate("() => letGo()")
    page.wait_for_function("() => outcome === 'kept'")


def test_a_full_storage_is_said_and_nothing_is_claimed_to_be_kept(page: Page) -> None:
    page.evaluate(FAIL_NEXT_ADD, "QuotaExceededError")
    assert append(page) == "store.full"
    assert page.evaluate("() => outbox.tally()") == {
        "count": 0, "refused": 0, "photos": 0, "oldestAtUtc": None,
    }  # fmt: skip
    assert append(page) == "kept", "the chain goes on where it stood"
    assert page.evaluate("() => outbox.waiting().then(rows => rows.map(row => row.sequence))") == [1]


def test_a_second_tab_that_wrote_meanwhile_is_noticed(page: Page) -> None:
    code = page.evaluate("""async () => {
      const {Outbox} = await import('/assets/trial/js/store/outbox.js');
      const stale = await store.read(['chain'], tx => null);
      const writeEvidence = (...parts) => store.writeEvidence(...parts);
      const late = new Outbox({read: async () => stale, writeEvidence}, device);
      await outbox.append(body());
      return tried(() => late.append(body('setup.broken_off')));
    }""")
    assert code == "store.chain_moved"


def test_two_events_never_share_a_place_in_the_chain_even_without_locks(page: Page) -> None:
    code = page.evaluate("""async () => {
      const {asked} = await import('/assets/trial/js/store/db.js');
      const {id, ...row} = await outbox.append(body());
      const again = tx => asked(tx.objectStore('events').add({...row, id: 'another'}));
      return tried(() => store.writeEvidence(['events'], again));
    }""")
    assert code == "store.taken"


def test_two_tabs_at_once_keep_one_unbroken_chain(new_context: Callable[..., BrowserContext]) -> None:
    context = new_context()
    one, other = open_modules(context), open_modules(context)
    one.evaluate(OUTBOX)
    other.evaluate(OUTBOX)
    many = """start => { self.all = Promise.all(Array.from({length: 20}, (_, place) =>
      tried(() => outbox.append({...body(), elapsed_ms: start + place})))); }"""
    one.evaluate(many, 1000)
    other.evaluate(many, 2000)
    outcomes = one.evaluate("() => all") + other.evaluate("() => all")
    assert set(outcomes) <= {"kept", "store.chain_moved", "store.taken"}
    sequences = one.evaluate("() => outbox.waiting().then(rows => rows.map(row => row.sequence))")
    assert sequences == list(range(1, outcomes.count("kept") + 1))


def test_a_handle_that_died_is_opened_again(page: Page) -> None:
    page.evaluate("""() => {
      const transaction = IDBDatabase.prototype.transaction;
      IDBDatabase.prototype.transaction = function (...parts) {
        IDBDatabase.prototype.transaction = transaction;
        throw new DOMException('Connection to Indexed Database server lost', 'UnknownError');
      };
    }""")
    assert append(page) == "kept"


def test_when_opening_again_fails_too_the_loss_is_said(page: Page) -> None:
    page.evaluate("""() => {
      IDBDatabase.prototype.transaction = () => { throw new DOMException('lost', 'InvalidStateError'); };
    }""")
    assert append(page) == "store.lost"
    assert "failed store.lost" in page.evaluate("() => states")


def test_an_event_that_was_written_although_the_handle_died_is_not_written_twice(page: Page) -> None:
    page.evaluate("""() => {
      const transaction = IDBDatabase.prototype.transaction;
      let once = true;
      IDBDatabase.prototype.transaction = function (stores, mode, options) {
        const made = transaction.call(this, stores, mode, options);
        if (mode === 'readwrite' && once) {
          once = false;
          const {set} = Object.getOwnPropertyDescriptor(IDBTransaction.prototype, 'oncomplete');
          Object.defineProperty(made, 'oncomplete', {set(told) {
            set.call(made, () => {
              Object.defineProperty(made, 'error', {value: new DOMException('lost', 'UnknownError')});
              made.onabort();
            });
          }});
        }
        return made;
      };
    }""")
    assert append(page) == "kept"
    assert page.evaluate("() => outbox.tally().then(tally => tally.count)") == 1


def test_an_open_that_never_answers_ends_in_words(new_context: Callable[..., BrowserContext]) -> None:
    page = open_modules(new_context())
    code = page.evaluate("""async () => {
      const {Store} = await import('/assets/trial/js/store/db.js');
      let tries = 0;
      const store = new Store({factory: {open: () => { tries += 1; return {}; }}, waitMs: 30, tries: 3});
      const code = await store.read(['notes'], () => null).catch(error => error.code);
      return [code, tries];
    }""")
    assert code == ["store.no_answer", 3]


def test_a_tab_that_holds_the_old_layout_is_named_as_blocking(
    new_context: Callable[..., BrowserContext],
) -> None:
    context = new_context()
    holder, page = open_modules(context), open_modules(context)
    holder.evaluate("""() => new Promise(resolve => {
      const request = indexedDB.open('zerokeep', 1);
      request.onsuccess = () => { self.held = request.result; resolve(); };
    })""")
    states = page.evaluate("""async () => {
      const {Store} = await import('/assets/trial/js/store/db.js');
      const states = [];
      const store = new Store({version: 2, waitMs: 100, tries: 1, onState: state => states.push(state)});
      await store.read(['notes'], () => null).catch(() => {});
      return states;
    }""")
    assert states[0] == "blocked"


def test_a_newer_layout_in_another_tab_is_let_through(page: Page) -> None:
    opened = page.evaluate("""() => new Promise(resolve => {
      outbox.tally().then(() => {
        const request = indexedDB.open('zerokeep', 99);
        request.onsuccess = () => { request.result.close(); resolve('opened'); };
        request.onblocked = () => resolve('blocked');
      });
    })""")
    assert opened == "opened"
    assert "newer" in page.evaluate("() => states")
    assert append(page) == "store.page_too_old"


def test_what_stands_half_typed_comes_back(page: Page) -> None:
    assert page.evaluate("""async () => {
      const {Drafts} = await import('/assets/trial/js/store/drafts.js');
      const drafts = new Drafts(store);
      await drafts.keep('s', 'x.touch', {typed: {X: '-413.3'}});
      const back = await drafts.of('s', 'x.touch');
      await drafts.drop('s', 'x.touch');
      return [back, await drafts.of('s', 'x.touch')];
    }""") == [{"typed": {"X": "-413.3"}}, {}]
