"""The tablet's own modules in a real Chromium without any server:
every file is answered from the source tree.

The address is localhost, which is a secure context, so keys and storage are real.
A test may answer calls of the API.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from jinja2 import Environment, FileSystemLoader
from playwright.sync_api import BrowserContext, Page, Route

from webapp.colours import DARK, LIGHT
from webapp.composition import files
from webapp.web.files.shell import Shell

ROOT = Path(__file__).resolve().parents[2]
ORIGIN = "http://localhost:9"
Answer = Callable[[Route], Any]


def tablet_page() -> str:
    """The shell page as the server sends it, of a version named `trial`."""
    templates = Environment(loader=FileSystemLoader(ROOT / "templates"), autoescape=True)
    return templates.get_template("tablet/shell.html").render(
        version="trial",
        asset=lambda path: f"/assets/trial/{path}",
        light=LIGHT["paper"],
        dark=DARK["paper"],
    )


@cache
def shell() -> Shell:
    """All files as a server of this tree reads them at its start."""
    return files()


def open_modules(
    context: BrowserContext, answers: dict[str, Answer] | None = None, origin: str = ORIGIN, path: str = "/"
) -> Page:
    """A page of this origin from which `import('/assets/trial/js/…')` works.
    `/tablet` is the tablet itself.
    """
    page = context.new_page()
    page.route(f"{origin}/**", lambda route: _answer(route, answers or {}))
    page.goto(f"{origin}{path}")
    return page


def _answer(route: Route, answers: dict[str, Answer]) -> None:
    path = urlsplit(route.request.url).path
    if path in answers:
        answers[path](route)
    elif path == "/":
        route.fulfill(body="<!doctype html><title>modules</title>", content_type="text/html")
    elif path == "/tablet":
        route.fulfill(body=tablet_page(), content_type="text/html")
    else:
        found = (
            shell().assets.get(path.removeprefix("/assets/trial/"))
            if path.startswith("/assets/trial/")
            else None
        )
        if found is None:
            route.fulfill(status=404)
        else:
            route.fulfill(body=found.body, content_type=found.content_type)


# Makes `outbox` (with a fresh key) and `store` on the page; a body of an event to append.
OUTBOX = """async () => {
  const {Store} = await import('/assets/trial/js/store/db.js');
  const {Outbox} = await import('/assets/trial/js/store/outbox.js');
  const {newPair, thumbprint} = await import('/assets/trial/js/proof/jws.js');
  const {keepDevice, ownDevice} = await import('/assets/trial/js/store/keys.js');
  self.states = [];
  self.store = new Store({onState: (state, error) => states.push(error ? `${state} ${error.code}` : state)});
  const {device} = await ownDevice(store);
  self.device = device ?? await keepDevice(store, await newPair(), self.enrolment ?? {});
  self.outbox = new Outbox(store, self.device);
  const setup = '7f3a2c1e-0000-4000-8000-000000000001';
  self.body = (type = 'hold.pressed', data = {}) => ({type, setup, sheet: 'a'.repeat(64), app: 'trial',
    person: 'mara', at_utc: '2026-11-25T08:03:12.345Z', elapsed_ms: 5, step: null, data});
  self.tried = work => work().then(
    () => 'kept', error => (typeof error.code === 'string' ? error.code : error.name));
  return self.device.jwk;
}"""
