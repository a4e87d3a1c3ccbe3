"""The tablet's page, driven by a hand that reads what it shows and types what the simulated mill shows.

Only the page's own hooks are used (data-screen, data-step, data-kind, data-action, data-choice,
data-entry), taps are real taps, and nothing is pressed before the page lets itself be pressed.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

from playwright.sync_api import Locator, Page

from tests.kit.by_hand import answered_at
from tests.kit.demo import AXES, Demo, Mill
from tests.kit.engines.page import EnginePage, Located

REPEAT_MS, BOUNCE_MS, LONGEST_MS = 320, 100, 30_000
SENT_WITHIN_MS = 60_000
POLL_MS = 50  # by default the page is asked at every frame, and is drawn sixty times a second for it
NEXT_SCREEN = """() => {
  const heading = document.getElementById('heading');
  const fresh = heading !== null && heading.dataset.seen === undefined;
  return fresh && document.getElementById('app').dataset.settled === 'yes';
}"""
SETTLED = "() => document.getElementById('app')?.dataset.settled === 'yes'"
KEYS = {"-": "minus", "+": "plus", ".": "point"}
READ_ALL = """async store => {
  const database = await new Promise((resolve, reject) => {
    const request = indexedDB.open('zerokeep');
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  const rows = await new Promise((resolve, reject) => {
    const request = database.transaction(store).objectStore(store).getAll();
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  database.close();
  return JSON.parse(JSON.stringify(rows));
}"""
TabletPage = Page | EnginePage  # Playwright's, or one that has what is used here of it


class Tablet:
    """One page of one tablet. `by_keypad`: type on the page's own keys instead of a hardware keyboard."""

    def __init__(self, page: TabletPage, address: str, *, by_keypad: bool = False) -> None:
        self.page, self.address, self.by_keypad = page, address, by_keypad

    # Looking

    @property
    def screen(self) -> str:
        return self._data("screen")

    @property
    def step(self) -> str:
        return self._data("step")

    @property
    def kind(self) -> str:
        return self._data("kind")

    @property
    def waiting(self) -> int:
        """How many events the quiet line says are waiting."""
        return int(self.page.locator("[data-network]").get_attribute("data-waiting") or 0)

    def text(self) -> str:
        """All that can be read on the page."""
        return self.page.locator("body").inner_text()

    def find(self, action: str, choice: str | None = None) -> Locator | Located:
        return self.page.locator(
            f'[data-action="{action}"]' + (f'[data-choice="{choice}"]' if choice else "")
        ).first

    def offers(self, action: str) -> bool:
        return self.find(action).is_visible()

    def rows(self, store: str) -> list[dict[str, Any]]:
        """All rows of one of the tablet's own tables, keys left out."""
        return list(self.page.evaluate(READ_ALL, store))

    def events(self) -> list[dict[str, Any]]:
        """The events that this tablet keeps, in the order of its chain."""
        return sorted(self.rows("events"), key=lambda row: row["sequence"])

    def sheet(self, machine: str) -> dict[str, Any]:
        """The newest sheet of a machine that the tablet holds."""
        found = [row for row in self.rows("sheets") if row["machine"] == machine]
        return dict(json.loads(max(found, key=lambda row: row["got_at_utc"])["text"]))

    def sheet_in_use(self) -> dict[str, Any]:
        """The sheet of the running setup."""
        sheet_hash = self.events()[-1]["payload"]["sheet"]
        return dict(json.loads(next(row["text"] for row in self.rows("sheets") if row["hash"] == sheet_hash)))

    def step_on_sheet(self) -> dict[str, Any]:
        """The step that is shown, as the running setup's sheet has it."""
        stages = self.sheet_in_use()["procedure"]["stages"]
        return next(step for stage in stages for step in stage["steps"] if step["id"] == self.step)

    # Pressing

    def open(self) -> None:
        self.page.goto(f"{self.address}/tablet")
        self.settled()

    def reload(self) -> None:
        self.page.reload()
        self.settled()

    def settled(self) -> None:
        """Wait until the screen takes taps."""
        self.page.wait_for_function(SETTLED, polling=POLL_MS)

    def tap(self, action: str, choice: str | None = None) -> None:
        """Tap and wait for the next screen."""
        self.settled()
        self.page.evaluate("() => { document.getElementById('heading').dataset.seen = '1'; }")
        self.find(action, choice).click()
        self.page.wait_for_function(NEXT_SCREEN, polling=POLL_MS)

    def tap_here(self, action: str) -> None:
        """Tap a control that leaves the screen as it is."""
        self.settled()
        self.find(action).click()

    def type(self, text: str) -> None:
        """Type into the chosen field: key by key on the keypad, or by a hardware keyboard."""
        self.settled()
        if not self.by_keypad:
            self.page.keyboard.type(text)
            return
        last = ""
        for character in text:
            if character == last:
                self.page.wait_for_timeout(BOUNCE_MS)
            self.page.locator(f'[data-key="{KEYS.get(character, character)}"]').click()
            last = character
        self.page.wait_for_timeout(REPEAT_MS)

    def enter(self, text: str) -> None:
        """Type and press the primary action."""
        self.type(text)
        self.tap("go")

    def sync(self) -> None:
        """Let the page look for the server now, as it does when it gets the focus."""
        self.page.evaluate("() => { dispatchEvent(new Event('focus')); }")

    def all_sent(self) -> None:
        """Wait until nothing waits any more and the quiet line says so: for a moment it does not know of a
        press that was kept.
        """
        self.sync()
        for _ in range(SENT_WITHIN_MS // POLL_MS):
            self.page.wait_for_selector('[data-network="sent"]', timeout=SENT_WITHIN_MS)
            if not any("waiting" in row for row in self.events()):
                return
            self.page.wait_for_timeout(POLL_MS)
        raise AssertionError("the quiet line says that all is sent, and something still waits")

    def all_wait(self) -> None:
        """Wait until the quiet line says of every event that it waits: it is told a moment after each."""
        for _ in range(LONGEST_MS // POLL_MS):
            if self.waiting == len(self.events()):
                return
            self.page.wait_for_timeout(POLL_MS)
        raise AssertionError(f"{self.waiting} of {len(self.events())} events are said to wait")

    def keeps_typed(self, entry: str, text: str) -> None:
        """Wait until what is half typed is kept: a key is written down a moment after it was pressed."""
        for _ in range(LONGEST_MS // POLL_MS):
            drafts = [row["typed"].get("typed", {}).get(entry, "") for row in self.rows("drafts")]
            if text in [draft.replace("−", "-") for draft in drafts]:
                return
            self.page.wait_for_timeout(POLL_MS)
        raise AssertionError(f"{text} was typed and is not kept")

    def events_of(self, kind: str) -> list[dict[str, Any]]:
        """Payloads of one type, in order."""
        return [row["payload"] for row in self.events() if row["payload"]["type"] == kind]

    # Whole ways

    def enrol(self, code: str, name: str = "Tablet under test") -> None:
        """Take this browser into use and wait for the first sheets."""
        self.open()
        self.page.fill("#code", code)
        self.page.fill("#label", name)
        self.settled()
        self.page.locator('[data-action="stays"]').check()
        self.page.wait_for_timeout(REPEAT_MS)
        self.find("enrol").click()
        self.page.wait_for_selector('#app[data-screen="machines"]')
        self.page.wait_for_selector('[data-action="machine"]')
        self.page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
        self.settled()

    def begin(self, machine: str, person: str, *, fixture: str | None = None, begin: bool = True) -> None:
        """Choose machine and person, and the fixture where it is asked for, and begin a setup, or stand ready
        to.
        """
        self.tap("machine", self._listed(machine))
        if fixture is not None:
            self.tap("fixture", fixture)
        self.tap("person", person)
        if begin:
            self.tap("begin")

    def _listed(self, machine: str) -> str:
        """The hash under which a machine is listed: of its newest sheet, that of its first fixture where it
        has several.
        """
        found = [row for row in self.rows("sheets") if row["machine"] == machine]
        sheets = {row["hash"]: json.loads(row["text"]) for row in found}
        first = [row for row in found if _is_of_first(sheets[row["hash"]])]
        return str(max(first, key=lambda row: row["got_at_utc"])["hash"])

    def _data(self, name: str) -> str:
        return self.page.locator("#app").get_attribute(f"data-{name}") or ""


def _is_of_first(sheet: dict[str, Any]) -> bool:
    own = {"id": sheet["fixture"]["id"]}
    return bool(sheet["machine"].get("fixtures", [own])[0]["id"] == own["id"])


class Operator:
    """Somebody who walks a setup: reads the step, works the mill, types what it shows."""

    def __init__(self, tablet: Tablet, mill: Mill, slot: str, pin: str) -> None:
        self.tablet, self.mill, self.slot, self.pin = tablet, mill, slot, pin
        self.typed = ""

    def walk(self, until: str | None = None) -> None:
        """Close one step after the other, up to the step `until` (not done) or until the setup is signed."""
        for _ in self.steps(until):
            pass

    def steps(self, until: str | None = None) -> Iterator[tuple[str, str]]:
        """The same, step by step: (step, kind) of each before it is done."""
        for _ in range(120):
            here = self.tablet.step, self.tablet.kind
            if self.tablet.screen != "step" or here[0] == until:
                if until is not None and here[0] != until:
                    raise AssertionError(f"never came to {until}; stands at {here}")
                return
            yield here
            self.close(here[1])
        raise AssertionError(f"stuck at {self.tablet.step}:\n{self.tablet.text()}")

    def end_for_practice(self) -> None:
        """Break the setup off, as one for practice, and sign."""
        self.tablet.tap("off")
        self.tablet.tap("break-off")
        self.walk(until="sign.review")
        self.tablet.tap("break-reason", "practice")
        self.walk()

    def close(self, kind: str) -> None:
        """Do what the step that is shown asks for."""
        getattr(self, f"_{kind.replace('-', '_')}")()

    def _go(self) -> None:
        self.tablet.tap("go")

    _caution = _search = _over = _lower = _finish = _go

    def _confirm(self) -> None:
        if self.tablet.offers("choose"):
            choices = self.tablet.step_on_sheet()["choices"]
            self.tablet.tap("choose", next(choice["id"] for choice in choices if choice["closes"]))
        else:
            self._go()

    _jaw = _input = _confirm

    def _company(self) -> None:
        """Name the first who may stand beside."""
        self.tablet.tap("beside")

    def _input_old(self) -> None:
        self.tablet.tap("raised")

    def _checks(self) -> None:
        lines = self.tablet.page.locator('[data-action="tick"][aria-pressed="false"]')
        for _ in range(lines.count()):
            self.tablet.tap("tick", lines.first.get_attribute("data-choice"))

    def _board(self) -> None:
        self.tablet.tap("found", "clear")

    def _tool_in(self) -> None:
        self.tablet.enter(self.mill.mill.call_tool(self.mill.mill.probe_tool))

    def _tool_out(self) -> None:
        self.tablet.enter(self.mill.mill.call_tool(self.mill.mill.parking_tool))

    def _slot(self) -> None:
        self.mill.mill.select_slot(self.slot)
        self.tablet.enter(self.slot)

    def _copy(self) -> None:
        self._three()

    def _clear(self) -> None:
        self.mill.mill.park_selected()
        if self.tablet.page.locator("[data-entry]").count():
            self._three()
        else:
            self._go()

    def _three(self) -> None:
        shown = self.mill.shown()
        for axis in AXES:
            self.tablet.enter(shown[axis])
        if self.tablet.kind == "copy" and self.tablet.step.startswith("copy"):
            self._go()  # a value that changed since is asked about once

    def _touch(self) -> None:
        if self.is_by_hand:
            self.answer_read()
            self.surface_entered()
            self.tablet.enter(self.typed)
            return
        axis = self._axis()
        self.typed = self.mill.touch(axis)
        self.tablet.enter(self.typed)

    @property
    def is_by_hand(self) -> bool:
        """Whether the sheet says that values are entered into the slot by hand."""
        return str(self.tablet.sheet_in_use()["machine"]["profile"]["slot_written"]) == "by_hand"

    def answer_read(self) -> None:
        """Touch, and type where the control says that the probe answered."""
        self.tablet.enter(answered_at(self.mill, self._axis()))

    def surface_entered(self, off_by_nm: int = 0) -> None:
        """Enter the surface that the tablet shows into the row, wrongly by so much; read the control back."""
        axis, simulated = self.tablet.step[0].upper(), self.mill.mill
        shown = self.tablet.page.locator("main .plate-value").inner_text()
        simulated.set_value(simulated.selected_slot, axis, self.mill.value_nm(shown) + off_by_nm)
        self.tablet.tap("entered")
        self.typed = self.mill.shown()[axis]

    def _axis(self) -> str:
        axis = self.tablet.page.locator("[data-entry]").get_attribute("data-entry")
        assert axis in AXES
        return axis

    def _square(self) -> None:
        """First both searches are set, on a screen of their own; then two values of one face are typed."""
        if self.tablet.page.locator("[data-entry]").count() == 0:
            self._go()
            return
        axis = self.tablet.step[0].upper()
        for _ in range(2):
            self.tablet.enter(answered_at(self.mill, axis) if self.is_by_hand else self.mill.touch(axis))
            if self.tablet.kind == "square" and self.tablet.page.locator("[data-entry]").count() == 0:
                self._go()  # raised, over and down again between the two touches

    def _compare(self) -> None:
        if self.tablet.offers("read-again"):
            self.tablet.type(self.typed)
            self.tablet.tap("read-again")
        elif self.tablet.offers("keep"):
            self.tablet.tap("keep")
        elif self.tablet.offers("ask-both"):
            self.tablet.tap("ask-both")
        elif self.tablet.offers("put-question"):
            self.tablet.tap("put-question")
            self.tablet.tap("common-question")
        else:
            self.tablet.tap("touch-again")

    def read_again(self) -> None:
        """Read a value past a line once more, as the same, where the tablet asks for it."""
        if self.tablet.offers("read-again"):
            self.tablet.type(self.typed)
            self.tablet.tap("read-again")

    def enter_value(self, text: str) -> None:
        """Type a value at a touch, and the same again where it lies past a line."""
        self.typed = text
        self.tablet.enter(text)
        self.read_again()

    def _zero(self) -> None:
        if self.tablet.page.locator('[data-entry="label"]').count():
            self.tablet.enter(self.slot)
            return
        self.mill.mill.park_selected()
        self._three()

    def _sign(self) -> None:
        self.tablet.page.fill("#pin", self.pin)
        self._go()


NewTablet = Callable[..., Tablet]


def operator(tablet: Tablet, demo: Demo, machine: str = "plover", person: str = "odile") -> Operator:
    """A person at a machine with a tablet."""
    return Operator(tablet, demo.mill(machine), demo.slot(machine, person), demo.people[person].pin)
