"""The tablet's key: kept unexportable, proved at every start,
and its loss said in words (Web Cryptography, W3C).
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext

from tests.kit.modules import OUTBOX, open_modules

REFUSES_KEYS = """
  const put = IDBObjectStore.prototype.put;
  IDBObjectStore.prototype.put = function (value, ...rest) {
    if (value?.privateKey) throw new DOMException('no keys in private browsing', 'DataCloneError');
    return put.call(this, value, ...rest);
  };"""
READS_BACK_NOTHING = """
  const put = IDBObjectStore.prototype.put;
  IDBObjectStore.prototype.put = function (value, ...rest) {
    return put.call(this, value?.privateKey ? {...value, privateKey: null} : value, ...rest);
  };"""
NO_DATABASE = "Object.defineProperty(self, 'indexedDB', {value: undefined});"
DATABASE_FAILS = "IDBFactory.prototype.open = () => { throw new DOMException('private', 'SecurityError'); };"


def test_the_private_half_cannot_be_taken_out(new_context: Callable[..., BrowserContext]) -> None:
    page = open_modules(new_context())
    page.evaluate(OUTBOX)
    assert page.evaluate("""async () => [device.privateKey.extractable,
      await tried(() => crypto.subtle.exportKey('jwk', device.privateKey))]""") == [
        False,
        "InvalidAccessError",
    ]


def test_the_same_key_is_there_after_a_reload(new_context: Callable[..., BrowserContext]) -> None:
    page = open_modules(new_context())
    before = page.evaluate(OUTBOX)
    page.reload()
    assert page.evaluate(OUTBOX) == before


@pytest.mark.parametrize(
    ("stub", "code"),
    [
        (REFUSES_KEYS, "store.cannot_keep_keys"),
        (READS_BACK_NOTHING, "store.cannot_keep_keys"),
        (NO_DATABASE, "tablet.not_possible.no_storage"),
        (DATABASE_FAILS, "store.lost"),
    ],
    ids=["refuses keys", "reads back nothing", "no database", "database fails"],
)
def test_a_browser_that_cannot_keep_a_key_is_refused_with_the_reason(
    new_context: Callable[..., BrowserContext], stub: str, code: str
) -> None:
    context = new_context()
    context.add_init_script(stub)
    page = open_modules(context, path="/tablet")
    page.wait_for_selector('[data-screen="not-possible"]')
    assert page.get_attribute("#app", "data-kind") == code
    assert page.locator("#code").count() == 0, "nothing can be enrolled here"


def test_a_page_that_did_not_come_securely_is_refused_with_the_reason(
    new_context: Callable[..., BrowserContext],
) -> None:
    page = open_modules(new_context(), origin="http://shop.example", path="/tablet")
    page.wait_for_selector('[data-screen="not-possible"]')
    assert page.get_attribute("#app", "data-kind") == "tablet.not_possible.insecure"


@pytest.mark.parametrize(
    ("name", "without"),
    [
        ("structuredClone", "delete globalThis.structuredClone;"),
        ("crypto.randomUUID", "delete Crypto.prototype.randomUUID;"),
        ("AbortSignal.timeout", "delete AbortSignal.timeout;"),
        ("Array.findLast", "delete Array.prototype.findLast;"),
    ],
)
def test_a_browser_that_is_too_old_is_refused_with_what_it_lacks_and_the_oldest_that_do(
    new_context: Callable[..., BrowserContext], name: str, without: str
) -> None:
    context = new_context()
    context.add_init_script(without)
    page = open_modules(context, path="/tablet")
    page.wait_for_selector('[data-screen="not-possible"]')
    said = page.inner_text("main")
    assert page.get_attribute("#app", "data-kind") == "tablet.not_possible.too_old"
    assert f"it does not know {name}." in said
    for oldest in ("Chrome and Edge 110", "Firefox 115", "iPadOS 16"):
        assert oldest in said
    assert page.locator("#code").count() == 0, "nothing can be enrolled here"


def test_a_lost_key_is_said_and_what_was_not_sent_is_listed(
    new_context: Callable[..., BrowserContext],
) -> None:
    context = new_context()
    page = open_modules(context)
    page.evaluate(OUTBOX)
    page.evaluate("""async () => {
      const {asked} = await import('/assets/trial/js/store/db.js');
      await outbox.append(body());
      await store.write(['keys'], tx => asked(tx.objectStore('keys').clear()));
    }""")
    page.goto("http://localhost:9/tablet")
    page.wait_for_selector('[data-screen="enrol"]')
    assert "lost its key" in page.inner_text("h1")
    assert "hold.pressed" in page.inner_text("main")
