"""What is odd about setups that wait for a lead, as `domain.setup.oddities` has it: asked by the lead's page,
by a setup's own, and once more in the transaction that signs a list.

Rule: what others know of setups is read once for all of them, so that a page costs a few statements more
however many wait.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.told import SHUT
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.plain.errors import Finding
from webapp.domain.setup.oddities import Surroundings, oddities
from webapp.domain.setup.step_times import PacedStep
from webapp.domain.setup.trouble.worries import WorryRow
from webapp.services.decisions.meanwhile import Meanwhile
from webapp.services.decisions.sides import Difference
from webapp.services.evidence.open_alarms import unanswered

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SetupRow

UNKNOWN = "unknown"


class Known:
    """What others know of these setups, read in one view inside the caller's transaction."""

    def __init__(self, store: Store, rows: Sequence[SetupRow]) -> None:
        self._worries = store.worries.open()
        self._shut = {key for key in store.shop.items("shop") if key.startswith(SHUT)}
        self._tablets = {one["id"]: one["state"] for one in store.devices.everything()}
        self._alarms = Counter(row["subject"] for row in unanswered(store))
        self._waiting = Counter(one["device"] for one in store.events.waiting())
        self._meanwhile = Meanwhile(store, rows)
        self._forks = store.events.forks_in([row["id"] for row in rows])

    def differences(self, row: SetupRow, sheet: WrittenSheet, state: Folded) -> tuple[Difference, ...]:
        """What one of them went by that the shop says otherwise."""
        return self._meanwhile.differences(row, sheet, state)

    def oddities(
        self,
        row: SetupRow,
        sheet: WrittenSheet,
        state: Folded,
        pace: Sequence[PacedStep],
        standings: Mapping[str, str] | None = None,
    ) -> tuple[Finding, ...]:
        """What is odd about one of them; `standings` says by axis how its values stand to the usual of now,
        where that is asked.
        """
        beside = Surroundings(
            worries_of_others=sum(_is_about(one, row, sheet) for one in self._worries),
            forks=self._forks.get(row["id"], 0),
            changed_meanwhile=len(self.differences(row, sheet, state)),
            machine_closed=SHUT + row["machine"] in self._shut,
            tablet=self._tablets.get(row["device"], UNKNOWN),
            alarms=self._alarms[row["device"]],
            waiting=self._waiting[row["device"]],
            fast_steps=sum(step["is_marked"] for step in pace),
            steps=len(pace),
            standings=standings or {},
        )
        return oddities(sheet, state, beside)


def _is_about(worry: WorryRow, row: SetupRow, sheet: WrittenSheet) -> bool:
    """Whether an open worry of another setup is about what this one used."""
    used = {
        "machine": (worry.machine, sheet["machine"]["id"]),
        "vise": (worry.fixture, sheet["fixture"]["id"]),
        "probe": (worry.probe, sheet["probe"]["id"]),
    }
    its, this = used[worry.about]
    return worry.setup != row["id"] and its == this
