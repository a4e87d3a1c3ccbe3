"""The worker: a version is kept whole or not at all,
the one before stays while it is used, and nothing else is kept.

Source: Service Workers (W3C), install and activate.
A small server of the test stands behind it: the worker's own requests have to be real ones.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.kit.chromium import wait_until
from tests.kit.modules import ROOT

PAGE = """<!doctype html><title>{version}</title><p>/assets/{version}/</p><script>
navigator.serviceWorker.addEventListener('message', event => {{
  if (event.data?.ask === 'version') event.ports[0].postMessage('{version}');
}});
</script>"""
REGISTER = """async () => {
  await navigator.serviceWorker.register('/sw.js', {updateViaCache: 'none'});
  await navigator.serviceWorker.ready;
}"""
UPDATE = """async () => {
  const registration = await navigator.serviceWorker.getRegistration();
  await registration.update().catch(() => {});
  const fresh = registration.installing ?? registration.waiting;
  if (!fresh) return 'nothing new';
  const changed = () => new Promise(resolve => fresh.addEventListener('statechange', resolve, {once: true}));
  while (fresh.state === 'installing') await changed();
  return fresh.state;
}"""
RELOADS = 20
TAKE_OVER = """async () => {
  const registration = await navigator.serviceWorker.getRegistration();
  const {serviceWorker} = navigator;
  const changed = new Promise(
    resolve => serviceWorker.addEventListener('controllerchange', resolve, {once: true}));
  registration.waiting.postMessage({do: 'take over'});
  await changed;
}"""
# Nothing tells when the worker has dropped what it drops: a moment is left for it.
DROP_UNUSED = """async () => {
  (await navigator.serviceWorker.ready).active.postMessage({do: 'drop unused'});
  await new Promise(resolve => setTimeout(resolve, 700));
}"""


class Site:
    """A server with one version of a page, two files and one call; a file can be made to be missing."""

    def __init__(self) -> None:
        self.version, self.missing, self.before = "one", "", ""
        site = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                body, kind = site.answer(self.path)
                self.send_response(200 if body else 404)
                self.send_header("Content-Type", kind)
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: Any) -> None:
                return

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.address = f"http://localhost:{self.server.server_port}"
        Thread(target=self.server.serve_forever, daemon=True).start()

    def answer(self, path: str) -> tuple[bytes, str]:
        files = {
            f"/assets/{self.version}/{name}.js": f"'{name} of {self.version}'" for name in ("now", "later")
        }
        listing = ["/tablet", *files]
        worker = [self.before, f"const VERSION = '{self.version}';", f"const FILES = {json.dumps(listing)};"]
        worker += [(ROOT / "static" / name).read_text(encoding="utf-8") for name in ("sw-cache.js", "sw.js")]
        pages = {
            "/tablet": PAGE.format(version=self.version),
            "/desk": "<title>desk</title>",
            "/api/reach": "{}",
        }
        if path == self.missing:
            return b"", "text/plain"
        if path == "/sw.js":
            return "\n".join(worker).encode(), "text/javascript"
        if path in pages:
            return pages[path].encode(), "text/html"
        return files.get(path, "").encode(), "text/javascript"

    def stop(self) -> None:
        self.server.shutdown()
        self.server.server_close()


@pytest.fixture
def site() -> Iterator[Site]:
    site = Site()
    yield site
    site.stop()


@pytest.fixture
def page(new_context: Callable[..., BrowserContext], site: Site) -> Page:
    """A page that the worker serves."""
    page = new_context().new_page()
    page.goto(f"{site.address}/tablet")
    page.evaluate(REGISTER)
    page.reload()
    return page


def caches_of(page: Page) -> list[str]:
    return sorted(page.evaluate("() => caches.keys()"))


def fetched(page: Page, path: str) -> str:
    return str(page.evaluate("path => fetch(path).then(answer => answer.text(), () => 'no answer')", path))


def test_the_page_and_its_files_come_without_the_server(page: Page, site: Site) -> None:
    site.stop()
    page.reload()
    assert page.title() == "one"
    assert fetched(page, "/assets/one/later.js") == "'later of one'"


WHO_ANSWERED = """async path => {
  await (await fetch(path)).text();
  const [entry] = performance.getEntriesByName(new URL(path, location).href).slice(-1);
  return entry.workerFinalSourceType ?? entry.workerFinalRouterSource;
}"""


def test_the_browser_answers_for_this_versions_files_without_asking_the_worker(
    page: Page, site: Site
) -> None:
    """Service Workers (W3C), static routing; Resource Timing tells who answered."""
    site.stop()
    page.reload()
    assert page.evaluate(WHO_ANSWERED, "/assets/one/later.js") == "cache"
    assert page.evaluate(WHO_ANSWERED, "/assets/one/later.js?x=1") != "cache"


def test_a_browser_without_static_routing_gets_the_same_from_the_worker(
    new_context: Callable[..., BrowserContext], site: Site
) -> None:
    site.before = "delete InstallEvent.prototype.addRoutes;"
    page = new_context().new_page()
    page.goto(f"{site.address}/tablet")
    page.evaluate(REGISTER)
    site.stop()
    page.reload()
    assert page.title() == "one"
    assert fetched(page, "/assets/one/later.js") == "'later of one'"
    assert page.evaluate(WHO_ANSWERED, "/assets/one/later.js") != "cache"


@pytest.mark.parametrize("missing", ["/assets/two/later.js", "/tablet"])
def test_a_version_with_a_file_missing_is_not_taken_at_all(page: Page, site: Site, missing: str) -> None:
    site.version, site.missing = "two", missing
    assert page.evaluate(UPDATE) == "redundant"
    assert caches_of(page) == ["zerokeep-shell-one"]
    page.reload()
    assert page.title() == "one"


def test_a_page_of_another_version_under_way_is_not_mixed_in(page: Page, site: Site) -> None:
    """The server was updated between the worker's list and its page."""
    answer = site.answer
    site.version = "two"
    site.answer = lambda path: (
        (PAGE.format(version="three").encode(), "text/html") if path == "/tablet" else answer(path)
    )  # type: ignore[method-assign]
    assert page.evaluate(UPDATE) == "redundant"


def test_a_new_version_waits_until_it_is_asked_to_take_over(page: Page, site: Site) -> None:
    site.version = "two"
    assert page.evaluate(UPDATE) == "installed"
    page.reload()
    assert page.title() == "one"
    page.evaluate(TAKE_OVER)
    page.reload()
    assert page.title() == "two"


def test_a_version_that_waits_keeps_its_files_while_the_page_is_opened_again(page: Page, site: Site) -> None:
    site.version = "two"
    assert page.evaluate(UPDATE) == "installed"
    page.reload()
    page.evaluate(DROP_UNUSED)
    assert "zerokeep-shell-two" in caches_of(page)
    page.evaluate(TAKE_OVER)
    site.stop()
    page.reload()
    assert page.title() == "two"
    assert fetched(page, "/assets/two/later.js") == "'later of two'"


def test_an_old_page_still_gets_its_files_after_the_new_version_took_over(page: Page, site: Site) -> None:
    old = page.context.new_page()
    old.goto(f"{site.address}/tablet")
    site.version = "two"
    page.evaluate(UPDATE)
    page.evaluate(TAKE_OVER)
    page.reload()
    assert (page.title(), old.title()) == ("two", "one")
    assert fetched(old, "/assets/one/later.js") == "'later of one'"
    old.close()
    page.evaluate("async () => (await navigator.serviceWorker.ready).active.postMessage({do: 'drop unused'})")
    wait_until(page, "async () => (await caches.keys()).join() === 'zerokeep-shell-two'")


def reloaded(page: Page) -> str:
    page.reload()
    return page.title()


def test_while_a_setup_runs_its_version_comes_back_whatever_waits(page: Page, site: Site) -> None:
    page.evaluate("() => navigator.serviceWorker.controller.postMessage({do: 'hold', version: 'one'})")
    site.version = "two"
    page.evaluate(UPDATE)
    page.evaluate(TAKE_OVER)
    page.reload()
    assert page.title() == "one"
    page.evaluate("() => navigator.serviceWorker.controller.postMessage({do: 'hold', version: null})")
    assert any(reloaded(page) == "two" for _ in range(RELOADS)), "the worker takes a message when it can"


def test_no_answer_of_the_api_and_no_page_of_the_desk_is_ever_kept(page: Page) -> None:
    for path in ("/api/reach", "/desk"):
        fetched(page, path)
    kept = page.evaluate("""async () => {
      const requests = [];
      for (const name of await caches.keys()) requests.push(...await (await caches.open(name)).keys());
      return requests.map(({url}) => new URL(url).pathname).sort();
    }""")
    assert kept == ["/assets/one/later.js", "/assets/one/now.js", "/tablet"]
