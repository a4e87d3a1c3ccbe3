"""A tablet that is worked by keys alone: Tab to the control, Enter on it.

WCAG 2.2, 2.1.1, 2.4.3, 2.4.7: everything by keys, in an order that is one, and seen where it stands.
"""

from __future__ import annotations

from tests.kit.tablet import NEXT_SCREEN, POLL_MS, Operator, Tablet

FURTHEST = 80  # presses of Tab, more than any screen has controls
HERE = """() => {
  const {activeElement: one} = document;
  return [one.dataset.action ?? '', one.dataset.choice ?? '', one.id, getComputedStyle(one).outlineStyle];
}"""


class ByKeys(Tablet):
    """The same page, and no finger."""

    def tap(self, action: str, choice: str | None = None) -> None:
        self.settled()
        self.page.evaluate("() => { document.getElementById('heading').dataset.seen = '1'; }")
        self._press(action, choice)
        self.page.wait_for_function(NEXT_SCREEN, polling=POLL_MS)

    def tap_here(self, action: str) -> None:
        self.settled()
        self._press(action, None)

    def reach(self, wanted: str, choice: str | None = None) -> None:
        """Press Tab until the focus stands on the control with this action, or with this id."""
        passed = []
        for _ in range(FURTHEST):
            self.page.keyboard.press("Tab")
            action, its_choice, name, outline = self.page.evaluate(HERE)
            passed.append(action or name)
            if wanted in {action, name} and choice in {None, its_choice}:
                assert outline != "none", f"the focus on {wanted} is not seen"
                return
        raise AssertionError(f"{wanted} {choice or ''} is not reached by keys, only {passed}")

    def _press(self, action: str, choice: str | None) -> None:
        self.reach(action, choice)
        self.page.keyboard.press("Enter")


class OperatorByKeys(Operator):
    """Somebody who has only keys."""

    def _sign(self) -> None:
        assert isinstance(self.tablet, ByKeys)
        self.tablet.reach("pin")
        self.tablet.page.keyboard.type(self.pin)
        self._go()
