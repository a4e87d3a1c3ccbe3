"""How much a setup asks of a person at the tablet: taps, keys, screens, and words to read."""

from __future__ import annotations

from dataclasses import dataclass, field

from tests.kit.tablet import Operator, Tablet

READ = """() => ['main', 'footer'].map(part => document.querySelector(part)?.innerText ?? '').join(' ')"""


@dataclass
class Counted:
    """What one setup took, from Begin to signed.
    `words` is what can be read on each screen when it first appears.
    """

    taps: int = 0
    keys: int = 0
    words: dict[str, int] = field(default_factory=dict)

    @property
    def screens(self) -> int:
        """How many screens of their own there were."""
        return len(self.words)

    @property
    def all_words(self) -> int:
        """Words on all of them."""
        return sum(self.words.values())


class CountingTablet(Tablet):
    """A tablet that counts what is pressed on it. A value typed on the keys counts its characters."""

    counted: Counted = Counted()

    def tap(self, action: str, choice: str | None = None) -> None:
        super().tap(action, choice)
        self.counted.taps += 1

    def tap_here(self, action: str) -> None:
        super().tap_here(action)
        self.counted.taps += 1

    def type(self, text: str) -> None:
        super().type(text)
        self.counted.keys += len(text)

    def look(self) -> None:
        """Read what stands on the screen, where it was not read before."""
        name = f"{self.screen} {self.step} {self.page.locator('h1').inner_text()}"
        if name not in self.counted.words:
            self.counted.words[name] = len(str(self.page.evaluate(READ)).split())


def counted_walk(tablet: CountingTablet, hand: Operator) -> Counted:
    """Begin (the tablet stands ready to), walk to the signature, and what that took."""
    tablet.counted = Counted()
    tablet.tap("begin")
    tablet.look()
    for _ in hand.steps():
        tablet.look()
    tablet.look()
    tablet.counted.keys += len(hand.pin)
    return tablet.counted
