"""Debian's Chromium with a profile that outlives the process, and a way to kill that process for real."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Error, Page, Playwright

CHROMIUM = "/usr/bin/chromium"
# The same engine without the browser's own windows, which are drawn for each page though nobody sees them:
# two seconds of a processor for each tablet. With this hinting it draws the same pixels
# (tests/browser/test_the_engine_alone.py).
HEADLESS = "/usr/bin/chromium-headless-shell"
HINTING = "--font-render-hinting=slight"
# Without these flags a headless Chromium wants a sandbox that a container does not give,
# and calls its maker at every start.
CHROMIUM_FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PORTRAIT, LANDSCAPE, PHONE = (768, 1024), (1280, 800), (390, 844)
SIZES = {"phone": PHONE, "portrait": PORTRAIT, "landscape": LANDSCAPE}
# The page's wall clock, put forward by so many hours; timers run on.
SHIFTED_CLOCK = """hours => {
  const Real = globalThis.Date;
  const shift = hours * 3_600_000;
  globalThis.Date = class extends Real {
    constructor(...given) { super(...(given.length === 0 ? [Real.now() + shift] : given)); }
    static now() { return Real.now() + shift; }
  };
}"""


def viewport(size: tuple[int, int]) -> Any:
    """A size as Playwright wants it."""
    return {"width": size[0], "height": size[1]}


def wait_until(page: Page, question: str, seconds: float = 30) -> None:
    """Ask the page until what its promise resolves to is true.

    `wait_for_function` takes the promise itself for the answer, which is true at once.
    """
    until = time.monotonic() + seconds
    while not page.evaluate(question):
        if time.monotonic() > until:
            raise AssertionError(f"never came true: {question}")
        page.wait_for_timeout(50)


def shift_clock(page: Page, hours: float) -> None:
    """From the next load on, the page's clock is wrong by so many hours."""
    page.add_init_script(f"({SHIFTED_CLOCK})({hours})")


class Profile:
    """One tablet's browser: what it keeps lies in a folder, the process comes and goes.

    `flags`: more words on its command line. `home`: where it looks for what its system trusts.
    """

    def __init__(
        self,
        playwright: Playwright,
        folder: Path,
        size: tuple[int, int] = PORTRAIT,
        *,
        flags: tuple[str, ...] = (),
        home: Path | None = None,
    ) -> None:
        self.playwright, self.folder, self.size = playwright, folder, size
        self.flags, self.home = flags, home
        self.context: BrowserContext | None = None

    def open(self) -> BrowserContext:
        """Start the browser on what the folder holds."""
        self.context = self.playwright.chromium.launch_persistent_context(
            self.folder,
            executable_path=CHROMIUM,
            args=[*CHROMIUM_FLAGS, *self.flags],
            env={**os.environ, "HOME": str(self.home)} if self.home else None,
            headless=True,
            viewport=viewport(self.size),
        )
        return self.context

    def open_page(self) -> Page:
        """Start it; the page that it shows."""
        return self.open().pages[0]

    def kill(self) -> None:
        """SIGKILL to the browser and all its processes: a battery pull, as far as the page is concerned."""
        assert self.pids(), "no browser runs on this profile"
        self.kill_rest()

    def kill_rest(self) -> None:
        """The same to whatever still runs of a browser that is being killed."""
        for pid in self.pids():
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
        until = time.monotonic() + 10
        while self.pids() and time.monotonic() < until:
            time.sleep(0.05)
        self.close()

    def close(self) -> None:
        """Let go of the browser; it may be dead already."""
        context, self.context = self.context, None
        if context is not None:
            try:
                context.close()
            except Error:
                return

    def pids(self) -> list[int]:
        """Processes that were started on this profile, the helpers too."""
        mark = f"--user-data-dir={self.folder}".encode()
        found = []
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                try:
                    command = (entry / "cmdline").read_bytes()
                    state = (entry / "stat").read_text().rpartition(")")[2].split()[0]
                except OSError:
                    continue
                if mark in command.split(b"\0") and state != "Z":
                    found.append(int(entry.name))
        return found
