"""What the tests' tablet needs of a page, for browsers that Playwright does not drive.

A page of an engine says how it loads, calls a function in the document, taps a point and types: five things.
All else is made of those here, under the names that Playwright's page has, so that one and the same hand
works in every engine. Taps and keys are the engine's own input, and, as with Playwright, a control is tapped
only once it is seen, enabled, at rest, and nothing lies over it.
"""

from __future__ import annotations

import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Any

LONGEST_MS = 30_000
POLL_S = 0.05
# Where to tap a control, or why it cannot be tapped now.
POINT = """async ([selector, place]) => {
  const control = document.querySelectorAll(selector)[place];
  if (!control) return 'is not there';
  if (control.matches(':disabled')) return 'is disabled';
  control.scrollIntoView({block: 'nearest', inline: 'nearest'});
  const box = () => {
    const {left, top, width, height} = control.getBoundingClientRect();
    return [left, top, width, height];
  };
  const frame = () => new Promise(done => requestAnimationFrame(done));
  await frame();
  const before = box();
  await frame();
  const [left, top, width, height] = box();
  if (String(before) !== String([left, top, width, height])) return 'moves';
  if (width < 1 || height < 1 || getComputedStyle(control).visibility === 'hidden') return 'is not seen';
  const point = [left + width / 2, top + height / 2];
  const hit = document.elementFromPoint(...point);
  const label = hit?.closest('label');
  if (!hit || !(control.contains(hit) || label?.control === control)) return 'lies under something else';
  return point;
}"""
SEEN = """([selector, place]) => {
  const one = document.querySelectorAll(selector)[place];
  const box = one?.getBoundingClientRect();
  return Boolean(one) && box.width > 0 && box.height > 0 && getComputedStyle(one).visibility !== 'hidden';
}"""
COUNT = "selector => document.querySelectorAll(selector).length"
ASKED = """([selector, place, name]) => {
  const one = document.querySelectorAll(selector)[place];
  return one ? [name in one ? one[name] : one.getAttribute(name)] : null;
}"""
ATTRIBUTE = """([selector, place, name]) => {
  const one = document.querySelectorAll(selector)[place];
  return one ? [one.getAttribute(name)] : null;
}"""
CHOSEN = """([selector, place]) => {
  const one = document.querySelectorAll(selector)[place];
  one?.focus();
  one?.select();
  return Boolean(one) && document.activeElement === one;
}"""


class PageError(Exception):
    """The page could not do what was asked, in the engine's own words."""


class EnginePage(ABC):
    """A page of one engine: `call`, `goto`, `reload`, `tap_at` and `type_text` are its own."""

    @abstractmethod
    def call(self, function: str, argument: Any = None) -> Any:
        """Call a function of the document, a promise waited for; its result as JSON has it."""

    @abstractmethod
    def goto(self, url: str) -> None:
        """Load an address. Raises PageError when it is not shown."""

    @abstractmethod
    def reload(self) -> None:
        """Load the same once more."""

    @abstractmethod
    def tap_at(self, x: float, y: float) -> None:
        """Tap a point, in CSS pixels from the upper left corner of what is seen."""

    @abstractmethod
    def type_text(self, text: str) -> None:
        """Press and let go the key of each character."""

    @property
    def keyboard(self) -> Keyboard:
        return Keyboard(self)

    def evaluate(self, function: str, argument: Any = None) -> Any:
        return self.call(function, argument)

    def locator(self, selector: str) -> Located:
        return Located(self, selector)

    def fill(self, selector: str, text: str) -> None:
        """Type over what an entry holds."""
        entry = self.locator(selector)
        self.until(lambda: self.call(CHOSEN, [selector, 0]), f"{selector} takes no text")
        self.type_text(text)
        self.until(lambda: entry.input_value() == text, f"{selector} does not hold what was typed")

    def wait_for_function(self, function: str, *, polling: float = 50, timeout: float = LONGEST_MS) -> None:
        self.until(lambda: self.call(function), f"never came true: {function}", timeout, polling / 1000)

    def wait_for_selector(self, selector: str, *, timeout: float = LONGEST_MS) -> None:
        self.until(self.locator(selector).is_visible, f"never seen: {selector}", timeout)

    def wait_for_timeout(self, milliseconds: float) -> None:
        time.sleep(milliseconds / 1000)

    def until(
        self, question: Callable[[], Any], words: str, timeout_ms: float = LONGEST_MS, pause_s: float = POLL_S
    ) -> Any:
        """Ask until the answer counts, and return it. Raises PageError with the words when it never does."""
        end = time.monotonic() + timeout_ms / 1000
        while not (answer := question()):
            if time.monotonic() > end:
                raise PageError(f"{words}\n{self.call('() => document.body.innerText')}")
            time.sleep(pause_s)
        return answer


class Keyboard:
    """The keys of a page."""

    def __init__(self, page: EnginePage) -> None:
        self.page = page

    def type(self, text: str) -> None:
        self.page.type_text(text)


class Located:
    """The elements that a selector finds, looked for anew at each question."""

    def __init__(self, page: EnginePage, selector: str) -> None:
        self.page, self.selector = page, selector

    @property
    def first(self) -> Located:
        """The first of them, which is what every question here is about."""
        return self

    def count(self) -> int:
        return int(self.page.call(COUNT, self.selector))

    def is_visible(self) -> bool:
        return bool(self.page.call(SEEN, [self.selector, 0]))

    def get_attribute(self, name: str) -> str | None:
        return self._asked(ATTRIBUTE, name)

    def inner_text(self) -> str:
        return str(self._asked(ASKED, "innerText"))

    def input_value(self) -> str:
        return str(self._asked(ASKED, "value"))

    def click(self) -> None:
        point = self.page.until(self._point, f"{self.selector} cannot be tapped")
        self.page.tap_at(*point)

    def check(self) -> None:
        """Tick a box."""
        if not self._asked(ASKED, "checked"):
            self.click()
        self.page.until(lambda: self._asked(ASKED, "checked"), f"{self.selector} is not ticked")

    def _point(self) -> list[float] | None:
        said = self.page.call(POINT, [self.selector, 0])
        return said if isinstance(said, list) else None

    def _asked(self, question: str, name: str) -> Any:
        words = f"{self.selector} is not there"
        return self.page.until(lambda: self.page.call(question, [self.selector, 0, name]), words)[0]
