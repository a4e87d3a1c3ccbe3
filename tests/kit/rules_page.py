"""A page that can import the browser's rules, from files, with no server."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, Route

ROOT = Path(__file__).parents[2]
PAGE = "http://rules.test/"
# The policy that no page of the shop may do without.
POLICY = "default-src 'none'; script-src 'self'; connect-src 'self'"


@contextmanager
def rules_page(browser: Browser) -> Iterator[Page]:
    """The page, in which `import('/static/js/rules/…')` gives a module as tablets get it;
    nothing else is there.
    """
    page = browser.new_page()
    page.route("**/*", _serve)
    page.goto(PAGE)
    yield page
    page.close()


def _serve(route: Route) -> None:
    path = route.request.url.removeprefix(PAGE)
    file = ROOT / path
    if path == "":
        route.fulfill(body="<!doctype html><title>rules</title>", content_type="text/html",
                      headers={"content-security-policy": POLICY})  # fmt: skip
    elif path.startswith("static/js/rules/") and file.is_file():
        route.fulfill(body=file.read_text(encoding="utf-8"), content_type="text/javascript")
    else:
        route.fulfill(status=404)
