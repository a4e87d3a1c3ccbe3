"""Somebody at the real tablet who follows the list by hand and eye at the simulated mill."""

from __future__ import annotations

from tests.kit.demo import Demo
from tests.kit.tablet import Operator, Tablet
from tests.long.mistakes.follower import Follower


class Following(Operator):
    """Somebody who does at the mill what each screen says, and answers what is seen there."""

    def __init__(self, tablet: Tablet, demo: Demo, machine: str, person: str) -> None:
        slot = demo.slot(machine, person)
        super().__init__(tablet, demo.mill(machine), slot, demo.people[person].pin)
        self.follower = Follower(self.mill.mill, tablet.sheet(machine), slot, plate=machine)

    def close(self, kind: str) -> None:
        self.follower.step = self.tablet.step_on_sheet()
        super().close(kind)

    def _act(self) -> str | None:
        return self.follower.act(self.follower.step)

    def _go_after(self) -> None:
        self._act()
        self._go()

    _caution = _over = _lower = _search = _go_after

    def _confirm(self) -> None:
        seen = self._act()
        if seen is None:
            super()._confirm()
        else:
            self.tablet.tap("choose", seen)

    _jaw = _input = _confirm

    def _checks(self) -> None:
        self._act()
        super()._checks()

    def _board(self) -> None:
        self.tablet.tap("found", self._act() or "clear")

    def _tool_in(self) -> None:
        self.tablet.enter(self.follower.tool(self.mill.mill.probe_tool))

    def _tool_out(self) -> None:
        self.tablet.enter(self.follower.tool(self.mill.mill.parking_tool))

    def _slot(self) -> None:
        self.tablet.enter(self.follower.label(self.slot))

    def _clear(self) -> None:
        self.follower.cleared_nm(self.slot)
        if self.tablet.page.locator("[data-entry]").count():
            self._three()
        else:
            self._go()

    def _zero(self) -> None:
        self.follower.label(self.slot)
        super()._zero()

    def _touch(self) -> None:
        if self.is_by_hand:
            super()._touch()
            return
        self.typed = self.mill.text(self.follower.touched_nm(self._axis()))
        self.tablet.enter(self.typed)

    def answer_read(self) -> None:
        self.tablet.enter(self.mill.text(self.follower.answered_nm(self._axis())))

    def _square(self) -> None:
        """Both searches are set as at any search; the face is found at two places, raised between them."""
        if self.tablet.page.locator("[data-entry]").count() == 0:
            self._go()
            return
        axis = self.tablet.step[0].upper()
        for _ in range(2):
            self.tablet.enter(self.mill.text(self.follower.touched_nm(axis)))
            if self.tablet.kind == "square" and self.tablet.page.locator("[data-entry]").count() == 0:
                self._go()
