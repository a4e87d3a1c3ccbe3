"""The tablet's own modules against the real application, whose data folder goes back behind their back.

Every call of the page is answered by the application in this process: no server is started and nothing is
made up.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, Route

from tests.kit.modules import OUTBOX, open_modules
from tests.web.conftest import Site, make_site
from tests.web.conftest import keys as keys  # noqa: PLC0414 - a fixture
from webapp.domain.evidence import tree
from webapp.domain.evidence.consistency import consistency_proof
from webapp.proof.keys.key_ring import KeyRing, new_private_key
from webapp.proof.keys.key_succession import statement
from webapp.services.audit.auditing import audit
from webapp.services.evidence import epochs
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.evidence.succession import RECEIPT_KEY_RENEWED
from webapp.services.intake import alarms, enrolling

KEPT = ("zerokeep.db", "ledger-head.json")
START = """async ({sheet, code}) => {
  await (START_OUTBOX)();
  const {Api} = await import('/assets/trial/js/api.js');
  const {Clock} = await import('/assets/trial/js/clock.js');
  const {Shelf} = await import('/assets/trial/js/store/shelf.js');
  const {Sync} = await import('/assets/trial/js/sync.js');
  const {Ledger} = await import('/assets/trial/js/store/ledger.js');
  const {enrol} = await import('/assets/trial/js/enrolment.js');
  const {keepServerKeys} = await import('/assets/trial/js/store/keys.js');
  const {Outbox} = await import('/assets/trial/js/store/outbox.js');
  self.clock = new Clock();
  self.shelf = new Shelf(store);
  const api = new Api();
  self.device = await enrol({api, store, clock}, {code, label: 'Tablet', display: 'standalone'});
  self.outbox = new Outbox(store, device);
  self.ledger = new Ledger({api, shelf, device, clock});
  const setup = '7f3a2c1e-0000-4000-8000-000000000001';
  const asks = {setups: async () => [setup], inUse: () => new Set([sheet])};
  const keepKeys = given => keepServerKeys(store, device, given);
  self.sync = new Sync({api, outbox, shelf, device, clock, ledger, keepKeys, ...asks});
  self.work = async (count, on = sheet) => {
    for (let n = 0; n < count; n += 1) await outbox.append({...body(), sheet: on});
  };
  self.send = async () => {
    await sync.run();
    await sync.run();
    const {alarm, answered, restored} = ledger;
    return {...sync.state, ...await outbox.tally(), alarm, answered, restored};
  };
}""".replace("START_OUTBOX", OUTBOX)
JUDGE = """async cases => {
  const {isConsistent} = await import('/assets/trial/js/proof/consistency.js');
  return Promise.all(cases.map(([earlier, before, size, root, proof]) =>
    isConsistent(earlier, before, size, root, proof)));
}"""
NOTICE = """async kind => {
  const {loadWords} = await import('/assets/trial/js/ui/say.js');
  const {ledgerNotice} = await import('/assets/trial/js/ui/views/ledger.js');
  await loadWords();
  const atUtc = '2026-11-25T08:03:12.345Z';
  const answered = {answer: {at_utc: atUtc, reason: 'An old folder.'}};
  const restored = {atUtc, reason: 'The disk failed.', lost: 3};
  const ledger = {alarm: {kind, kept: 9, got: 4, noted: false}, answered, restored};
  return ledgerNotice({ledger}, {all: true}).textContent;
}"""
TAKE_AWAY = """async () => {
  const {asked} = await import('/assets/trial/js/store/db.js');
  const rows = await store.read(['events'], tx => asked(tx.objectStore('events').getAll()));
  const gone = rows.filter(({sequence}) => sequence < 3 || sequence === 5).map(({id}) => id);
  await store.writeEvidence(['events'], async tx => {
    for (const id of gone) await asked(tx.objectStore('events').delete(id));
  });
}"""


class Shop:
    """An application whose folder can be kept and put back, and a tablet at it."""

    def __init__(self, folder: Path, ring: tuple[Path, KeyRing], context: BrowserContext) -> None:
        self.folder, self.context = folder, context
        self.site: Site = make_site(folder, ring)
        self.house = self.site.house
        self.calls: list[str] = []

    def tablet(self) -> Page:
        """A page that is enrolled and has the sheets."""
        house = self.house
        enrolling.make_code(house.store, "ines", house.clock(), "7QF3KM9XRB")
        answers = {
            f"/api/{name}": self.answer
            for name in ("reach", "enrol", "events", "news", "head", "keys", "sheet")
        }
        page = open_modules(self.context, answers)
        page.evaluate(START, {"sheet": house.sheet()[0], "code": "7QF3KM9XRB"})
        return page

    def answer(self, route: Route) -> None:
        path = route.request.url.removeprefix("http://localhost:9")
        self.calls.append(path)
        found = self.site.browser().call(path, route.request.post_data_buffer or b"")
        route.fulfill(status=found.status_code, json=found.get_json())

    def close(self) -> None:
        self.house.store.close()
        self.site.app.extensions["zerokeep"].store.close()

    def keep(self, name: str) -> None:
        """Keep the folder as it is now."""
        self.close()
        (self.folder / name).mkdir()
        for file in KEPT:
            if (self.folder / file).exists():
                shutil.copy(self.folder / file, self.folder / name / file)

    def put_back(self, name: str, reason: str | None = None) -> None:
        """Go back to a kept folder: with a reason as `restore` does it, or without a word."""
        self.close()
        for file in KEPT:
            (self.folder / file).unlink(missing_ok=True)
            if (self.folder / name / file).exists():
                shutil.copy(self.folder / name / file, self.folder / file)
        if reason:
            epochs.open_epoch(self.house.store, self.house.keyring, reason, self.house.clock())

    def events(self) -> list[str]:
        with self.house.store.reading():
            return [row["id"] for row in self.house.store.events.events_between(0, 2**62)]


@pytest.fixture
def shop(
    tmp_path: Path, keys: tuple[Path, KeyRing], new_context: Callable[..., BrowserContext]
) -> Iterator[Shop]:
    shop = Shop(tmp_path, keys, new_context())
    yield shop
    shop.house.store.close()
    shop.site.app.extensions["zerokeep"].close()


def send(page: Page) -> dict[str, Any]:
    return dict(page.evaluate("() => send()"))


def test_what_a_backup_lacked_is_sent_again_and_nothing_counts_twice(shop: Shop) -> None:
    page = shop.tablet()
    page.evaluate("() => work(3)")
    assert send(page)["count"] == 0
    shop.keep("night")
    # The machines' sheets are compiled anew meanwhile, and 20 events are made on one that the backup does not
    # have.
    shop.house.clock.forward(hours=9)
    page.evaluate("() => shelf.note('sheets_sha256', null)")
    send(page)
    newer = shop.house.sheet()[0]
    page.evaluate("async sheet => { await shelf.keepUsed(sheet); await work(20, sheet); }", newer)
    before = send(page)
    had = shop.events()
    assert (before["count"], before["alarm"], len(had)) == (0, None, 23)
    shop.put_back("night", "The disk failed.")
    assert len(shop.events()) == 3
    for _ in range(3):
        after = send(page)
    assert shop.events() == had
    assert (after["count"], after["refused"], after["alarm"]) == (0, 0, None)
    assert (after["restored"]["reason"], after["restored"]["lost"] > 0) == ("The disk failed.", True)
    with shop.house.store.reading():
        assert len(shop.house.store.ledger.changes(kind="sheet.brought_back")) == 1
    assert audit(shop.house.store) == []
    uploads = shop.calls.count("/api/events")
    send(page)
    assert shop.calls.count("/api/events") == uploads, "once is enough"
    assert "A backup was brought back" in shop.site.signed_in("ines").page("/desk")


def test_a_ledger_that_went_back_without_a_word_raises_an_alarm_that_reaches_the_lead(shop: Shop) -> None:
    page = shop.tablet()
    page.evaluate("() => work(2)")
    send(page)
    shop.keep("old")
    page.evaluate("() => work(2)")
    assert send(page)["alarm"] is None
    had = shop.events()
    shop.put_back("old")
    state = send(page)
    assert (state["alarm"]["kind"], state["alarm"]["noted"], state["count"]) == ("went_back", True, 0)
    assert shop.events() == had, "and what was lost was sent again"
    (open_one,) = alarms.open_alarms(shop.house.store)
    assert open_one.kept_size > (open_one.got_size or 0)
    assert "does not find the ledger that it knew" in shop.site.signed_in("ines").page("/desk")
    assert send(page)["alarm"] is not None, "it stands until a lead has said what was found"
    alarms.answer(shop.house.store, open_one.id, "ines", "An old folder was copied in.", shop.house.clock())
    told = send(page)
    assert (told["alarm"], told["answered"]["answer"]["reason"]) == (None, "An old folder was copied in.")
    assert alarms.open_alarms(shop.house.store) == []
    assert audit(shop.house.store) == []


def test_a_ledger_that_grew_another_way_is_a_fork_however_long_it_is(shop: Shop) -> None:
    page = shop.tablet()
    send(page)
    shop.keep("old")
    page.evaluate("() => work(2)")
    send(page)
    shop.put_back("old")
    with shop.house.store.writing():
        for _ in range(30):
            change(shop.house.store, "setting.changed", "ines", "shop", None, {}, shop.house.clock())
    assert send(page)["alarm"]["kind"] == "forked"
    assert send(page)["alarm"]["kind"] == "forked"
    assert len(alarms.open_alarms(shop.house.store)) == 1


def test_a_server_that_signs_no_head_because_its_own_went_back_is_reported(shop: Shop) -> None:
    page = shop.tablet()
    send(page)
    shop.keep("old")
    page.evaluate("() => work(2)")
    send(page)
    newer = (shop.folder / "ledger-head.json").read_bytes()
    shop.put_back("old")
    (shop.folder / "ledger-head.json").write_bytes(newer)
    assert send(page)["alarm"]["kind"] == "went_back"
    (open_one,) = alarms.open_alarms(shop.house.store)
    assert open_one.got_size is None


def test_events_behind_one_that_nobody_has_any_more_do_not_wait_for_ever(shop: Shop) -> None:
    page = shop.tablet()
    shop.keep("night")
    page.evaluate("() => work(6)")
    send(page)
    page.evaluate(TAKE_AWAY)
    shop.put_back("night", "The disk failed.")
    for _ in range(4):
        state = send(page)
    assert (state["count"], len(shop.events())) == (0, 3)
    with shop.house.store.reading():
        (row,) = shop.house.store.ledger.changes(kind="chain.not_held")
    assert len(json.loads(row["text"])["data"]["events"]) == 2
    assert audit(shop.house.store) == []


@pytest.mark.parametrize("kind", ["went_back", "forked"])
def test_the_notice_says_what_was_known_what_is_shown_and_what_to_do(
    new_context: Callable[..., BrowserContext], kind: str
) -> None:
    page = open_modules(new_context(), path="/tablet")
    said = page.evaluate(NOTICE, kind)
    assert "9 entries" in said or "9 that this tablet knew" in said
    assert "Tell the lead" in said
    assert "“The disk failed.”" in said
    assert "“An old folder.”" in said


def test_keys_that_the_server_changed_are_learnt_from_the_key_that_is_known(shop: Shop) -> None:
    page = shop.tablet()
    send(page)
    parts = shop.site.app.extensions["zerokeep"]
    for _ in range(2):
        before, key = parts.keyring, new_private_key()
        said = {"statement": statement(before.receipt_key, key, "2026-11-25T08:00:00.000Z")}
        with shop.house.store.writing():
            change(shop.house.store, RECEIPT_KEY_RENEWED, SERVER, "receipts", None, said, shop.house.clock())
        renewed = replace(before, receipt_key=key).with_new_pin_key(new_private_key())
        object.__setattr__(parts, "keyring", renewed)
    page.evaluate("() => work(2)")
    state = send(page)
    assert (state["reached"], state["count"]) == (True, 0)
    known = page.evaluate("() => [device.receipt_key.kid, device.pin_key.kid]")
    assert known == [renewed.receipt_key_id, renewed.pin_key_id]
    object.__setattr__(parts, "keyring", replace(renewed, receipt_key=new_private_key()))
    assert send(page)["reached"] is False, "a key that nobody vouches for is nobody's"


def test_proofs_are_judged_as_the_server_judges_them(new_context: Callable[..., BrowserContext]) -> None:
    """Twins: domain/evidence/consistency.py, which the tests hold against another implementation."""
    most = 18
    hashes = {(0, place): tree.leaf_hash(str(place).encode()) for place in range(most)}
    grown = tree.append(0, {}, list(hashes.values()))
    hashes |= {(node.level, node.index): node.hash for node in grown.new_nodes}
    roots = [
        tree.root_at(size, {at: hashes[at] for at in tree.frontier(size)}).hex() for size in range(most + 1)
    ]
    cases = []
    for size in range(1, most + 1):
        for earlier in range(1, size + 1):
            proof = [one.hex() for one in consistency_proof(earlier, size, hashes.get)]
            cases.append([earlier, roots[earlier], size, roots[size], proof, True])
            cases.append([earlier, roots[earlier - 1], size, roots[size], proof, False])
            cases.append([earlier, roots[earlier], size, roots[size - 1], proof, False])
            cases.append([earlier, roots[earlier], size, roots[size], [*proof, "00" * 32], False])
            cases += [
                [earlier, roots[earlier], size, roots[size], proof[:at] + proof[at + 1 :], False]
                for at in range(len(proof))
            ]
    page = open_modules(new_context())
    found = page.evaluate(JUDGE, cases)
    assert [case for case, said in zip(cases, found, strict=True) if case[5] != said] == []
    assert len(cases) > 600
