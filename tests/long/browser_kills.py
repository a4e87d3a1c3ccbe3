"""`python -m tests.long browser_kills [KILLS [PART]]`: a browser killed at any moment of a setup.

Somebody walks setups at the practice mill, half of the time without the server. At a random moment all
processes of the browser get SIGKILL, whatever the page is at; then it is opened again on the same profile.
What was shown as done has to be there, in the same chain; the step that stands is the one that stood, or the
one that its last press led to; and at the end the server has every event of the tablet once and an audit
finds nothing. A whole run may be put together of parts: each PART draws other moments. What this does not
show is a battery pull: the disk below the browser goes on.
"""

from __future__ import annotations

import os
import signal
import sys
import tempfile
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from playwright.sync_api import Error, Page, Playwright, sync_playwright

from tests.kit.chromium import Profile
from tests.kit.demo import Demo, make_demo
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet, operator
from webapp.services.audit.auditing import audit

KILLS, DRAWS = 200, 20_261_130
LONGEST_S = 8.0
PATIENCE_MS = 60_000
MOST_STEPS_ON = 2  # a touch that agrees closes its comparison with the same press
OFTEN_OFFLINE = 0.5


@dataclass
class Walk:
    """A tablet in somebody's hand, and what its pages have shown as done."""

    profile: Profile
    hand: Operator
    chance: Random
    confirmed: list[str] = field(default_factory=list)
    step: str | None = None
    found: Counter[str] = field(default_factory=Counter)

    @property
    def tablet(self) -> Tablet:
        return self.hand.tablet

    def note(self) -> None:
        """What stands now was shown: all that is kept up to here counts as done."""
        self.confirmed = [row["id"] for row in self.tablet.events()]
        self.step = self.tablet.step if self.tablet.screen == "step" else None

    def go_on(self) -> None:
        """Walk from wherever the tablet stands, one setup after the other, until the browser is gone."""
        while True:
            if self.tablet.screen == "machines":
                self.tablet.begin("plover", "odile")
            for _ in self.hand.steps():
                self.note()
            self.note()
            self.found["setups ended"] += 1
            self.tablet.tap("another")


@contextmanager
def killed_after(profile: Profile, seconds: float) -> Iterator[None]:
    """SIGKILL to all processes of the browser so long from now, whatever is done meanwhile."""
    pids = profile.pids()

    def kill() -> None:
        for pid in pids:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)

    timer = threading.Timer(seconds, kill)
    timer.start()
    try:
        yield
    finally:
        timer.join()


def one_kill(walk: Walk) -> None:
    """Walk on, be killed, come back, and look at what is there."""
    offline = walk.chance.random() < OFTEN_OFFLINE
    assert walk.profile.context is not None
    walk.profile.context.set_offline(offline)
    walk.note()
    with killed_after(walk.profile, walk.chance.uniform(0.0, LONGEST_S)), suppress(Error):
        walk.go_on()
    walk.profile.kill_rest()
    walk.hand.tablet = Tablet(opened_again(walk.profile), walk.tablet.address)
    walk.tablet.open()
    look(walk)
    start_fields_anew(walk.tablet.page)


def opened_again(profile: Profile) -> Page:
    page = profile.open().pages[0]
    page.set_default_timeout(PATIENCE_MS)
    return page


def look(walk: Walk) -> None:
    """What was shown as done is there, nothing is there twice, and the step is the one that stood."""
    rows = walk.tablet.events()
    assert [row["id"] for row in rows][: len(walk.confirmed)] == walk.confirmed, "what was confirmed is lost"
    assert [row["sequence"] for row in rows] == list(range(1, len(rows) + 1))
    before = [None, *(row["id"] for row in rows)]
    assert [row["payload"]["previous"] for row in rows] == before[:-1]
    walk.found[f"at {walk.tablet.kind or walk.tablet.screen}"] += 1
    if walk.tablet.screen != "step" or walk.step is None:
        walk.found["between two setups"] += 1
        return
    stages = walk.tablet.sheet_in_use()["procedure"]["stages"]
    plan = [step["id"] for stage in stages for step in stage["steps"]]
    on = plan.index(walk.tablet.step) - plan.index(walk.step)
    assert 0 <= on <= MOST_STEPS_ON, f"stood at {walk.step}, came back at {walk.tablet.step}"
    walk.found["the press was kept and its screen not seen" if on else "at the very step"] += 1


def start_fields_anew(page: Page) -> None:
    """Half a value comes back with its step; whoever walks here types the whole of it again."""
    fields = page.locator("input[data-entry]:not(#pin)")
    for number in range(fields.count()):
        if fields.nth(number).input_value() != "":
            fields.nth(number).fill("")
    if fields.count():
        fields.first.click()


def everything_is_there(demo: Demo, tablet: Tablet) -> int:
    """How many events the server has of the tablet: every one, once."""
    made = [row["id"] for row in tablet.events()]
    with demo.opened() as (store, _):
        with store.reading():
            stored = [row["id"] for row in store.events.events_between(0, 2**62) if row["id"] in set(made)]
        assert audit(store) == []
    assert sorted(stored) == sorted(made)
    return len(made)


def rounds(
    playwright: Playwright,
    demo: Demo,
    server: Server,
    folder: Path,
    count: int,
    say: Callable[[str], Any],
    part: int = 0,
) -> Counter[str]:
    """Kill so many times; how often it was where."""
    profile = Profile(playwright, folder / "tablet")
    tablet = Tablet(opened_again(profile), server.address)
    tablet.enrol(demo.code())
    walk = Walk(profile, operator(tablet, demo), Random(DRAWS + part))
    try:
        for number in range(count):
            one_kill(walk)
            if number % 10 == 9:
                say(f"{number + 1} kills, {walk.found['setups ended']} setups ended; nothing lost")
        walk.tablet.all_sent()
        walk.found["events"] = everything_is_there(demo, walk.tablet)
    finally:
        profile.close()
    return walk.found


def run(words: list[str]) -> int:
    """Print how often the browser was killed where; what does not hold is raised."""
    count, part = (*map(int, words), *(KILLS, 0)[len(words) :])
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        demo = Demo(make_demo(Path(name) / "shop"))
        server = Server(demo.folder, from_files=True)
        server.start()
        try:
            found = rounds(playwright, demo, server, Path(name), count, print, part)
        finally:
            server.kill()
    for what, times in sorted(found.items()):
        sys.stdout.write(f"{times:5} {what}\n")
    return 0
