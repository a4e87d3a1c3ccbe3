"""What a tablet forgets: setups that are over, sent and decided, a month later;
its chain goes on behind them.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.kit.chromium import shift_clock, wait_until
from tests.kit.demo import Demo, now
from tests.kit.modules import OUTBOX, open_modules
from tests.kit.tablet import Tablet, operator
from webapp.services.decisions import signing_off

SETUP, OTHER, SHEET = "7f3a2c1e-0000-4000-8000-000000000001", "7f3a2c1e-0000-4000-8000-000000000002", "a" * 64
SIGNED_OFF = ("signature.verified", "setup.signed_off")
# A setup of three events with its decisions, sheet and draft;
# `forget(days)`: what is let go so many days later.
START = """async ({setup, sheet, types, sent}) => {
  const {Shelf} = await import('/assets/trial/js/store/shelf.js');
  const {Drafts} = await import('/assets/trial/js/store/drafts.js');
  const {asked} = await import('/assets/trial/js/store/db.js');
  const {forgetClosed} = await import('/assets/trial/js/store/forgetting.js');
  self.shelf = new Shelf(store);
  self.all = name => store.read([name], tx => asked(tx.objectStore(name).getAll()));
  for (let number = 0; number < 3; number += 1) await outbox.append({...body(), setup});
  const rows = await outbox.waiting();
  await outbox.acknowledge(rows.slice(0, sent).map(({id}) => ({event: id, outcome: 'accepted'})));
  await shelf.keepDecisions(types.map(type => JSON.stringify({type, setup})));
  await shelf.note('my_setups', [setup]);
  await new Drafts(store).keep(setup, 'x.touch', {typed: '1'});
  const row = {hash: sheet, machine: 'm', text: '{}'};
  await store.writeEvidence(['sheets'], tx => asked(tx.objectStore('sheets').put(row)));
  const made = Date.parse(body().at_utc);
  self.forget = (days, inUse = []) => forgetClosed(store, made + days * 86_400_000, () => new Set(inUse));
}"""


COUNT = """async () => { const opening = indexedDB.open('zerokeep');
  const database = await new Promise(resolve => { opening.onsuccess = () => resolve(opening.result); });
  const request = database.transaction('%s').objectStore('%s').getAll();
  const rows = await new Promise(resolve => { request.onsuccess = () => resolve(request.result); });
  database.close();
  return %s; }"""
NO_EVENTS = COUNT % ("events", "events", "rows.length === 0")
HOLDS_DECISION = COUNT % ("decisions", "decisions", "JSON.stringify(rows).includes('setup.not_accepted')")


@pytest.fixture
def page(new_context: Callable[..., BrowserContext]) -> Page:
    page = open_modules(new_context())
    page.evaluate(OUTBOX)
    return page


def begin(page: Page, types: tuple[str, ...] = SIGNED_OFF, sent: int = 3) -> None:
    page.evaluate(START, {"setup": SETUP, "sheet": SHEET, "types": list(types), "sent": sent})


def left(page: Page) -> dict[str, int]:
    tables = ("events", "decisions", "drafts", "sheets")
    return {name: page.evaluate("name => all(name).then(rows => rows.length)", name) for name in tables}


@pytest.mark.parametrize(
    "types", [SIGNED_OFF, ("signature.verified", "setup.not_accepted"), ("setup.not_accepted",)]
)
def test_a_setup_that_is_sent_decided_and_a_month_old_goes_with_all_that_belongs_to_it(
    page: Page, types: tuple[str, ...]
) -> None:
    begin(page, types)
    assert page.evaluate("() => forget(30.01)") == [SETUP]
    assert left(page) == {"events": 0, "decisions": 0, "drafts": 0, "sheets": 0}
    assert page.evaluate("() => shelf.noted('my_setups')") == [], "nobody asks for its decisions any more"


@pytest.mark.parametrize(
    ("types", "sent", "days"),
    [
        (SIGNED_OFF, 3, 30),
        (SIGNED_OFF, 2, 31),
        ((), 3, 31),
        (("signature.verified",), 3, 31),
        (("signature.refused",), 3, 31),
        (("setup.signed_off",), 3, 31),
    ],
    ids=[
        "thirty days old and no more",
        "one event unsent",
        "nothing decided",
        "not seen by the lead",
        "signature refused, nothing decided",
        "signature not heard of",
    ],
)
def test_a_setup_stays_whole_when(page: Page, types: tuple[str, ...], sent: int, days: float) -> None:
    begin(page, types, sent)
    assert page.evaluate("days => forget(days)", days) == []
    assert left(page) == {"events": 3, "decisions": 1 if types else 0, "drafts": 1, "sheets": 1}
    assert page.evaluate("() => shelf.noted('my_setups')") == [SETUP]


def test_a_setup_with_a_picture_stays_until_the_picture_is_sent_and_takes_it_along(page: Page) -> None:
    begin(page, sent=2)
    event = page.evaluate("() => outbox.waiting().then(rows => rows[0].id)")
    taken = page.evaluate(
        """async ([setup, last]) => {
          const {Photos} = await import('/assets/trial/js/store/photos.js');
          self.photos = new Photos(store);
          const {id} = await outbox.append({...body(), setup}, undefined, new Uint8Array([255, 216, 255]));
          const before = await photos.waiting();
          await outbox.acknowledge([last, id].map(event => ({event, outcome: 'accepted'})));
          return {id, before, behind: await photos.waiting(), tally: (await outbox.tally()).photos};
        }""",
        [SETUP, event],
    )
    assert (taken["before"], taken["behind"], taken["tally"]) == ([], [taken["id"]], 1), "behind its event"
    assert page.evaluate("() => forget(31)") == []
    page.evaluate("event => photos.settle(event, {outcome: 'kept'})", taken["id"])
    page.evaluate("() => outbox.sendAgain()")
    assert page.evaluate("() => outbox.tally().then(({photos}) => photos)") == 1, "sent again with all else"
    page.evaluate(
        """async event => {
          const rows = await outbox.waiting();
          await outbox.acknowledge(rows.map(({id}) => ({event: id, outcome: 'accepted'})));
          await photos.settle(event, {outcome: 'kept'});
        }""",
        taken["id"],
    )
    assert page.evaluate("() => forget(31)") == [SETUP]
    assert page.evaluate("() => all('photos').then(rows => rows.length)") == 0


def test_a_sheet_in_use_stays_when_the_server_no_longer_lists_it(page: Page) -> None:
    begin(page)
    kept = page.evaluate(
        """async sheet => {
          const kept = [];
          for (const inUse of [new Set([sheet]), new Set()]) {
            await shelf.keepSheets([], () => inUse, '2026-11-25T08:00:00.000Z');
            kept.push(await shelf.hashes());
          }
          return kept;
        }""",
        SHEET,
    )
    assert kept == [[SHEET], []]


def test_a_setup_with_an_event_that_the_server_refused_stays(page: Page) -> None:
    begin(page, sent=2)
    page.evaluate("""async () => { const [{id}] = await outbox.waiting();
      await outbox.acknowledge([{event: id, outcome: 'refused', code: 'intake.malformed'}]); }""")
    assert page.evaluate("() => forget(400)") == []
    assert left(page)["events"] == 3


def test_the_running_setup_stays(page: Page) -> None:
    begin(page)
    page.evaluate("setup => shelf.note('current_setup', setup)", SETUP)
    assert page.evaluate("() => forget(400)") == []


def test_a_sheet_that_is_used_stays(page: Page) -> None:
    begin(page)
    assert page.evaluate("sheet => forget(31, [sheet])", SHEET) == [SETUP]
    assert left(page)["sheets"] == 1


def test_a_sheet_of_another_setup_that_stays_is_kept(page: Page) -> None:
    begin(page)
    page.evaluate("setup => outbox.append({...body(), setup})", OTHER)
    assert page.evaluate("() => forget(31)") == [SETUP]
    assert (left(page)["events"], left(page)["sheets"]) == (1, 1)


def test_the_next_event_chains_onto_the_one_that_was_forgotten(page: Page) -> None:
    begin(page)
    head = page.evaluate("() => all('events').then(rows => rows.find(row => row.sequence === 3).id)")
    page.evaluate("() => forget(31)")
    page.evaluate(OUTBOX)
    made = page.evaluate("() => outbox.append(body()).then(row => row.payload)")
    assert (made["sequence"], made["previous"]) == (4, head)


def test_a_failure_in_the_middle_forgets_nothing(page: Page) -> None:
    begin(page)
    page.evaluate("""() => { const real = IDBObjectStore.prototype.delete; let left = 2;
      IDBObjectStore.prototype.delete = function (key) {
        if ((left -= 1) < 0) throw new DOMException('put in the way by a test', 'AbortError');
        return real.call(this, key);
      }; }""")
    assert page.evaluate("() => tried(() => forget(31))") == "store.lost"
    assert left(page) == {"events": 3, "decisions": 1, "drafts": 1, "sheets": 1}


def test_a_month_after_the_leads_decision_a_real_tablet_forgets_and_the_server_takes_what_comes_next(
    tablet: Tablet, demo: Demo
) -> None:
    tablet.begin("plover", "odile")
    hand = operator(tablet, demo)
    hand.walk(until="ready.board")
    hand.end_for_practice()
    tablet.all_sent()
    setup = tablet.events()[0]["payload"]["setup"]
    with demo.opened() as (store, _):
        seen = signing_off.reviewed_now(store, setup)["sha256"]
        passphrase = demo.people["mara"].passphrase
        signing_off.not_accept(store, setup, "mara", passphrase, "For practice alone.", now(), seen=seen)
    tablet.sync()
    wait_until(tablet.page, HOLDS_DECISION)
    tablet.tap("another")
    made = tablet.events()
    shift_clock(tablet.page, 24 * 31)
    tablet.reload()
    wait_until(tablet.page, NO_EVENTS)
    shift_clock(tablet.page, -24 * 31)
    tablet.reload()
    tablet.begin("plover", "odile")
    tablet.all_sent()
    first = tablet.events()[0]["payload"]
    assert (first["sequence"], first["previous"]) == (made[-1]["sequence"] + 1, made[-1]["id"])
    row = demo.setup_row(first["setup"])
    assert row is not None
    assert row["status"] == "running"
