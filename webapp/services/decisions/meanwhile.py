"""What a tablet went by while a setup was done, beside what the shop says of that time and of now, where the
two differ: a tablet that was out of reach works on by the sheet that it has.

Rules: nothing that was done is refused or changed for it, and a lead sees both sides before deciding. The
person's right, the account and the seating are asked of the time of the setup, as the register has it now;
a procedure counts where it was published before the setup was over, a probe where it was fitted before; a
slot is asked of now, since its values are whose it is, and so is the usual (see `measured_by`). A setup that
is decided about is not held against what changed later.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.written_sheet import PersonOnSheet, WrittenSheet
from webapp.services.decisions.measured_by import MeasuredBy
from webapp.services.decisions.sides import Difference, Side
from webapp.services.errors import NoShopYet
from webapp.services.sheets.stored_rows import procedure_used

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import AuthorisationRow, SeatingRow, SetupRow, SlotRow

PUBLISHED, MOST_PUBLISHED = "procedure.published", 50
DECIDED = ("signed_off", "not_accepted")
BESIDE, ALONE = "beside", "alone"
HASH_SHOWN = 12


class Meanwhile:
    """What the shop says about what these setups went by, read once inside the caller's transaction."""

    def __init__(self, store: Store, rows: Sequence[SetupRow]) -> None:
        self._store = store
        open_rows = [row for row in rows if row["status"] not in DECIDED]
        machines = sorted({row["machine"] for row in open_rows})
        self._rights = {one: store.people.authorisations(machine=one) for one in machines}
        self._slots = {(one, row["label"]): row for one in machines for row in store.shop.slots(one)}
        self._disabled = store.people.disabled_among(sorted({row["person"] for row in open_rows}))
        published = store.ledger.changes(kind=PUBLISHED, newest=MOST_PUBLISHED) if open_rows else []
        self._published = {_revision(row["text"]): row["at_utc"] for row in reversed(published)}
        self._procedures: dict[str, str | None] = {}
        self._seatings: dict[str, list[SeatingRow]] = {}
        self._measured_by = MeasuredBy(store)

    def differences(self, row: SetupRow, sheet: WrittenSheet, state: Folded) -> tuple[Difference, ...]:
        """Where the two sides of one of them differ; empty for one that is decided about."""
        if row["status"] in DECIDED:
            return ()
        seating = self._seated_at(sheet["fixture"]["id"], row["last_at_utc"])
        return (
            *self._right(row, sheet),
            *self._account(row),
            *self._slot(row, sheet, state),
            *self._procedure(row, sheet),
            *self._measured_by.probe(row, sheet),
            *_seating(sheet, seating),
            *(self._measured_by.usual(sheet, state, seating["id"]) if seating else ()),
        )

    def _right(self, row: SetupRow, sheet: WrittenSheet) -> Iterator[Difference]:
        mine = [one for one in self._rights[row["machine"]] if one["person"] == row["person"]]
        then = next((one for one in sheet["people"] if one["id"] == row["person"]), None)
        first, last = (_held(mine, at_utc) for at_utc in (row["started_at_utc"], row["last_at_utc"]))
        if first is None or last is None:
            yield Difference("right", _right_on_sheet(then), _right_that_ended(mine, row["last_at_utc"]))
        elif then is not None:
            before, after = _level(bool(then.get("beside"))), _level(last["level"] == BESIDE)
            if before != after:
                yield Difference("right", _right_on_sheet(then), Side(after, at_utc=last["until_utc"]))

    def _account(self, row: SetupRow) -> Iterator[Difference]:
        at_utc = self._disabled.get(row["person"])
        if at_utc is not None and at_utc <= row["last_at_utc"]:
            yield Difference("account", Side("meanwhile.in_use"), Side("meanwhile.disabled", at_utc=at_utc))

    def _slot(self, row: SetupRow, sheet: WrittenSheet, state: Folded) -> Iterator[Difference]:
        label = state["slot"]
        then = next((one for one in sheet["slots"] if one["label"] == label), None)
        now = self._slots.get((row["machine"], label or ""))
        if then is None or label is None:
            return
        had, has = _owned(label, then["kind"], then["owner_id"], then["until_utc"]), _owned_now(label, now)
        if (had.code, had.who) != (has.code, has.who):
            yield Difference("slot", had, has)

    def _procedure(self, row: SetupRow, sheet: WrittenSheet) -> Iterator[Difference]:
        then, now = sheet["procedure"]["revision"], self._revision_now(sheet["fixture"]["id"])
        at_utc = self._published.get(now or "")
        if now is not None and now != then and at_utc is not None and at_utc <= row["last_at_utc"]:
            yield Difference("procedure", _revised(then, self._published.get(then)), _revised(now, at_utc))

    def _revision_now(self, fixture: str) -> str | None:
        if fixture not in self._procedures:
            try:
                self._procedures[fixture] = procedure_used(self._store, fixture).hash
            except NoShopYet:
                self._procedures[fixture] = None
        return self._procedures[fixture]

    def _seated_at(self, fixture: str, at_utc: str) -> SeatingRow | None:
        """The seating that had begun by then."""
        if fixture not in self._seatings:
            self._seatings[fixture] = self._store.shop.seatings(fixture)
        begun = [one for one in self._seatings[fixture] if one["since_utc"] <= at_utc]
        return begun[-1] if begun else None


def _seating(sheet: WrittenSheet, now: SeatingRow | None) -> Iterator[Difference]:
    then = sheet["fixture"]["seating"]
    if now is not None and now["id"] != then["id"]:
        had = Side("meanwhile.seated", at_utc=then["since_utc"])
        has = Side("meanwhile.moved", {"reason": now["reason"]}, at_utc=now["since_utc"])
        yield Difference("seating", had, has)


def _revision(text: str) -> str:
    return str(json.loads(text)["data"].get("revision", ""))


def _revised(revision: str, at_utc: str | None) -> Side:
    return Side("meanwhile.revision", {"revision": revision[:HASH_SHOWN]}, at_utc=at_utc)


def _held(rights: Sequence[AuthorisationRow], at_utc: str) -> AuthorisationRow | None:
    """The right that covered this time and was not withdrawn by then."""
    return next(
        (
            one
            for one in reversed(rights)
            if one["from_utc"] <= at_utc
            and (one["until_utc"] is None or at_utc < one["until_utc"])
            and (one["withdrawn_at_utc"] is None or at_utc < one["withdrawn_at_utc"])
        ),
        None,
    )


def _level(beside: bool) -> str:
    return f"meanwhile.right_{BESIDE if beside else ALONE}"


def _right_on_sheet(then: PersonOnSheet | None) -> Side:
    if then is None:
        return Side("meanwhile.right_none")
    return Side(_level(bool(then.get("beside"))), at_utc=then["until_utc"])


def _right_that_ended(rights: Sequence[AuthorisationRow], at_utc: str) -> Side:
    ends = [
        (end, code)
        for one in rights
        for end, code in ((one["withdrawn_at_utc"], "withdrawn"), (one["until_utc"], "ended"))
        if end is not None and end <= at_utc
    ]
    if not ends:
        return Side("meanwhile.right_none")
    end, code = max(ends)
    return Side(f"meanwhile.right_{code}", at_utc=end)


def _owned(label: str, kind: str, owner: str | None, until_utc: str | None) -> Side:
    return Side(f"meanwhile.slot_{kind}", {"slot": label}, owner, until_utc if owner else None)


def _owned_now(label: str, row: SlotRow | None) -> Side:
    if row is None:
        return _owned(label, "free", None, None)
    return _owned(label, row["kind"], row["owner"], row["until_utc"])
