"""`python -m tests.long engines [chromium] [firefox] [webkit]`: the offline setup in three browser engines.

In each: a browser that trusts nothing of the shop's is refused; with the shop's own authority as the only
thing more that it trusts, the test of a device says its lines, the tablet is enrolled by the server's name
over TLS, and a whole setup is walked while the server is stopped, with a reload and a killed browser in its
middle. The same hand does it everywhere. What came out is kept in tests/long/engines.md.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import traceback
from collections.abc import Callable
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import Any

from playwright.sync_api import Error, sync_playwright

from tests.kit import tls
from tests.kit.cheap_secrets import hash_cheaply
from tests.kit.demo import Demo, make_demo
from tests.kit.engines import chromium, firefox, webkit
from tests.kit.engines.offline_setup import self_test, walk_a_setup_without_the_server
from tests.kit.engines.page import PageError
from tests.kit.tablet import Tablet
from webapp.bootstrap.debian import line_for_root

SETUPS_A_MILL = 4
LACKING: dict[str, Callable[[], tuple[str, ...]]] = {
    "chromium": chromium.lacking,
    "firefox": firefox.lacking,
    "webkit": webkit.lacking,
}
# What the page uses where it is there, and does without where it is not.
ABILITIES = """async () => {
  const late = new Promise(done => { setTimeout(() => done('no answer in 3 s'), 3000); });
  const asked = what => Promise.race([Promise.resolve(what).catch(({name}) => name), late]);
  return {
    'screen kept awake': 'wakeLock' in navigator ? 'there' : 'not there',
    'storage kept when asked': navigator.storage?.persist
      ? String(await asked(navigator.storage.persist())) : 'cannot be asked',
    'storage is kept': navigator.storage?.persisted
      ? String(await asked(navigator.storage.persisted())) : 'cannot be asked',
    'room told': navigator.storage?.estimate ? 'there' : 'not there',
    'web locks': 'locks' in navigator ? 'there' : 'not there',
    'trusted types': 'trustedTypes' in globalThis ? 'there' : 'not there',
  };
}"""
Row = dict[str, str]


def walk(make: Callable[..., Any], folder: Path, made: Path, say: Callable[[str], object]) -> Row:
    """Walk the setup in one engine; what is to be told of it. Raises where anything does not hold."""
    demo = Demo.copy(made, folder / "shop")
    with ExitStack() as closing:
        server = tls.TlsServer(demo.folder)
        closing.callback(server.kill)
        server.start()
        row = {"without the authority": refused(make(folder / "stranger", None, tls.NAME), server.address)}
        browser = make(folder / "tablet", server.authority, tls.NAME)
        closing.callback(browser.close)
        row["browser"] = f"{browser.name} {browser.version}"
        page = browser.open_page()
        row |= {f"test: {line}": said for line, said in self_test(page, server.address).items()}
        row |= page.evaluate(ABILITIES)
        tablet = Tablet(page, server.address, by_keypad=True)
        tablet.enrol(demo.code())
        walked = walk_a_setup_without_the_server(browser, tablet, server, demo, say)
        row["steps walked, all events there once, signature verified"] = str(len(walked))
    return row


def refused(browser: Any, address: str) -> str:
    """That a browser which trusts nothing of the shop's does not show the page."""
    try:
        browser.open_page().goto(address)
    except (PageError, Error) as error:
        words = str(error).splitlines()[0]
        assert any(mark in words for mark in ("CERT", "certificate", "trusted", "ISSUER")), words
        return "refused"
    finally:
        browser.close()
    raise AssertionError("shown without the authority")


def table(rows: list[Row]) -> str:
    """The rows as a table, an engine a column."""
    names = ["browser", *dict.fromkeys(name for row in rows for name in row if name != "browser")]
    lines = [" | ".join([name, *(row.get(name, "") for row in rows)]) for name in names]
    return "\n".join(
        [f"| {lines[0]} |", "| --- " * (len(rows) + 1) + "|", *(f"| {line} |" for line in lines[1:])]
    )


def run(words: list[str]) -> int:
    """Walk it in the named engines, or in all; 1 where any failed, 2 where packages are missing."""
    parser = argparse.ArgumentParser("python -m tests.long engines")
    parser.add_argument("names", nargs="*", metavar="chromium|firefox|webkit", choices=[[], *LACKING])
    names = parser.parse_args(words).names or list(LACKING)
    packages = sorted({package for name in names for package in LACKING[name]()})
    if packages:
        print(f"Debian packages are missing. As root:\n\n    {line_for_root(packages)}\n", file=sys.stderr)
        return 2
    hash_cheaply()
    rows: list[Row] = []
    with sync_playwright() as playwright, tempfile.TemporaryDirectory(prefix="zk-engines-") as folder:
        makers: dict[str, Callable[..., Any]] = {
            "chromium": partial(chromium.Chromium, playwright),
            "firefox": firefox.Firefox,
            "webkit": webkit.WebKit,
        }
        (made := Path(folder) / "made").mkdir()
        make_demo(made, SETUPS_A_MILL)
        for name in names:
            (own := Path(folder) / name).mkdir()
            try:
                rows.append(walk(makers[name], own, made, partial(print, f"{name}:", flush=True)))
            except Exception:  # noqa: BLE001 - the other engines are walked all the same
                traceback.print_exc()
                print(f"{name}: does not hold", file=sys.stderr, flush=True)
    if rows:
        print(table(rows), flush=True)
    return int(len(rows) < len(names))
