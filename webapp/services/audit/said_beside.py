"""What the ledger says beside setups of what hangs on them: what leads did to values, when each slot was put
into its register, since when rows say who gave a right and who used a slot otherwise.

Rule: it goes on from where it was, so that an audit beside work costs what came, however often that was.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from webapp.services.audit.people import AUTHORISED
from webapp.services.audit.shop_rows import SLOTS
from webapp.services.evidence.ledger import entries, said_by
from webapp.services.numbers.values_told import Words

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow, SlotRow


class SaidBeside:
    """The same, for one audit. `levels_since_utc`: when a right was first given at a level, None while none
    was; rows from before do not say either who used a slot otherwise.
    """

    def __init__(self, store: Store) -> None:
        self._store, self._read_to = store, -1
        self.words = Words()
        self.slots: dict[tuple[str, str], str] = {}
        self.levels_since_utc: str | None = None
        self._seen_in: set[tuple[str, str]] = set()

    def read(self) -> None:
        """Read what came, inside the caller's transaction."""
        first = self._read_to < 0
        self.words.read(self._store)
        for entry in entries(self._store, (*SLOTS, AUTHORISED), self._read_to):
            self._read_to = entry["position"]
            self._take(entry)
        if first:
            self._seen_in = self._seen()

    def _take(self, entry: ChangeRow) -> None:
        data = said_by(entry["text"])
        key = entry["subject"], str(data.get("slot"))
        if entry["type"] == AUTHORISED:
            if self.levels_since_utc is None and "level" in data:
                self.levels_since_utc = entry["at_utc"]
        elif entry["type"] == "slot.removed":
            self.slots.pop(key, None)
        else:
            self.slots.setdefault(key, entry["at_utc"])

    def may_not_say(self, row: SlotRow) -> bool:
        """Whether a slot was seen last when rows did not say yet that others had used it."""
        since = self.levels_since_utc
        return row["used_otherwise"] is None and (since is None or (row["last_seen_at_utc"] or "") < since)

    def meet(self, machine: str, label: str) -> None:
        """The setup that saw a slot last was met."""
        self._seen_in.discard((machine, label))

    def strays(self) -> list[tuple[str, str]]:
        """Slots that name a setup which did not see them. Inside a transaction."""
        return sorted(self._seen_in & self._seen())

    def _seen(self) -> set[tuple[str, str]]:
        none = (None,) * 4
        return {
            (machine, row["label"])
            for machine in {machine for machine, _ in self.slots}
            for row in self._store.shop.slots(machine)
            if (row["last_setup"], row["last_seen_at_utc"], row["last_values"], row["used_otherwise"]) != none
        }
