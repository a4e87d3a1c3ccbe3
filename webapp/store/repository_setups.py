"""Sheets, events, what waits, what was set aside, and the lists found from them."""

import json
from collections.abc import Collection, Iterator, Sequence
from typing import Any

from webapp.store.repository_base import Repository, Row
from webapp.store.tables_setups import (
    Event,
    KeptValue,
    PendingSeal,
    Question,
    SetAside,
    Setup,
    Sheet,
    SheetInUse,
    Waiting,
)

EVENT_COLUMNS = (
    "position", "id", "jws", "device", "sequence", "setup", "type", "person", "sheet", "at_utc", "received_at_utc",
    "problems",
)  # fmt: skip
INSERT_EVENT = (
    f"INSERT INTO event ({', '.join(EVENT_COLUMNS)}) VALUES ({', '.join('?' * len(EVENT_COLUMNS))})"  # noqa: S608
)
AT_A_TIME = 500


class SetupsRepository(Repository):
    """The events are the truth; `setup` and `question` rows are lists that a fold can make again."""

    # Sheets

    def keep_sheet(
        self, sheet_hash: str, machine: str, text: str, content: str, times: tuple[str, str]
    ) -> None:
        """Keep a sheet that is handed out; `times` are compiled and expires. Does nothing for one that is there."""
        fields = {"hash": sheet_hash, "machine": machine, "text": text, "content": content}
        row = {**fields, "compiled_at_utc": times[0], "expires_at_utc": times[1]}
        self._run(Sheet.insert(row).on_conflict_ignore())

    def sheet(self, sheet_hash: str) -> Row | None:
        """One sheet, or None."""
        return self._row(Sheet.select().where(Sheet.hash == sheet_hash))

    def all_sheets(self) -> Iterator[Row]:
        """Every sheet that was handed out, one at a time."""
        for row in self._rows(Sheet.select(Sheet.hash)):
            found = self.sheet(row["hash"])
            if found is not None:
                yield found

    def sheet_in_use(self, machine: str) -> Row | None:
        """The sheet that was last found right for a machine, with `ledger_size` and `checked_at_utc`, or None."""
        row = self._row(SheetInUse.select().where(SheetInUse.machine == machine))
        sheet = self.sheet(row["hash"]) if row else None
        return {**row, **sheet} if row and sheet else None

    def use_sheet(self, machine: str, sheet_hash: str, ledger_size: int, checked_at_utc: str) -> None:
        """Say that a sheet was found right for a machine."""
        fields = {"machine": machine, "hash": sheet_hash, "ledger_size": ledger_size}
        self._run(SheetInUse.insert({**fields, "checked_at_utc": checked_at_utc}).on_conflict("REPLACE"))

    # Events

    def add_events(self, rows: list[tuple[Any, ...]]) -> None:
        """Store events, each a tuple in the order of EVENT_COLUMNS."""
        self._database.run_many(INSERT_EVENT, rows)

    def events_by_id(self, ids: Collection[str]) -> dict[str, Row]:
        """Those of these events that are stored, by id, without their signed text."""
        names = ("id", "position", "device", "sequence", "setup", "type", "person", "at_utc", "problems")
        columns = [getattr(Event, name) for name in names]
        return self._by_id(Event.select(*columns), Event.id, ids)

    def events_of(self, setup: str) -> list[Row]:
        """Events of one setup in the order of the device's chain (forks side by side)."""
        return self._rows(Event.select().where(Event.setup == setup).order_by(Event.sequence, Event.id))

    def event_types_of(self, setup: str) -> list[Row]:
        """Id, type, person and position of the events of one setup, in the order of the chain."""
        columns = (Event.id, Event.type, Event.person, Event.position, Event.device)
        return self._rows(
            Event.select(*columns).where(Event.setup == setup).order_by(Event.sequence, Event.id)
        )

    def holders(self, device: str, sequences: Collection[int]) -> dict[int, str]:
        """For those sequence numbers of a tablet that are taken: the event that came first."""
        found: dict[int, str] = {}
        for part in _parts(sorted(sequences)):
            query = Event.select(Event.sequence, Event.id).where(
                (Event.device == device) & Event.sequence.in_(part)
            )
            found.update({row["sequence"]: row["id"] for row in self._rows(query)})
        return found

    def all_events(self) -> Iterator[Row]:
        """Every event in the order of the ledger, read in stretches."""
        start = 0
        while rows := self._rows(
            Event.select().where(Event.position >= start).order_by(Event.position).limit(AT_A_TIME)
        ):
            yield from rows
            start = rows[-1]["position"] + 1

    # What waits for its predecessor

    def wait(self, row: Row) -> None:
        """Keep an event until the one before it comes."""
        self._run(Waiting.insert(row).on_conflict_ignore())

    def waiting_for(self, previous: Collection[str]) -> list[Row]:
        """Events that wait for one of these."""
        found: list[Row] = []
        for part in _parts(sorted(previous)):
            found.extend(
                self._rows(Waiting.select().where(Waiting.previous.in_(part)).order_by(Waiting.sequence))
            )
        return found

    def waiting(self, device: str | None = None) -> list[Row]:
        """Everything that waits, of one device if given."""
        query = Waiting.select().order_by(Waiting.device, Waiting.sequence, Waiting.id)
        return self._rows(query.where(Waiting.device == device) if device else query)

    def waiting_count(self, device: str) -> int:
        """How many events of a device wait."""
        return int(self._database.raw("SELECT count(*) FROM waiting WHERE device = ?", (device,))[0][0])

    def stop_waiting(self, ids: Collection[str]) -> None:
        """Take events out of the waiting ones."""
        for part in _parts(sorted(ids)):
            self._run(Waiting.delete().where(Waiting.id.in_(part)))

    # What was refused

    def set_aside(self, row: Row) -> bool:
        """Keep something refused, once; whether it is new."""
        stored = {**row, "fields": json.dumps(row["fields"], sort_keys=True, ensure_ascii=False)}
        return self._run(SetAside.insert(stored).on_conflict_ignore()) == 1

    def set_aside_by_id(self, ids: Collection[str]) -> dict[str, Row]:
        """Those of these that were set aside, by id, without their text."""
        columns = (SetAside.id, SetAside.code, SetAside.fields, SetAside.device, SetAside.sequence)
        rows = self._by_id(SetAside.select(*columns), SetAside.id, ids)
        return {key: {**row, "fields": json.loads(row["fields"])} for key, row in rows.items()}

    def set_aside_count(self, *, unsigned: bool) -> int:
        """How many were set aside with, or without, a fitting signature."""
        which = "IS NULL" if unsigned else "IS NOT NULL"
        return int(self._database.raw(f"SELECT count(*) FROM set_aside WHERE device {which}")[0][0])  # noqa: S608

    def refused(self, newest: int = 200) -> list[Row]:
        """What was set aside, newest first."""
        rows = self._rows(
            SetAside.select().order_by(SetAside.received_at_utc.desc(), SetAside.id).limit(newest)
        )
        return [{**row, "fields": json.loads(row["fields"])} for row in rows]

    # Sealed PINs that could not be checked yet

    def keep_seal(self, event: str, seal: str | None) -> None:
        """Keep a sealed PIN for later; the first one stays."""
        self._run(PendingSeal.insert(event=event, seal=seal).on_conflict_ignore())

    def pending_seals(self) -> list[Row]:
        """Event and seal of every signature whose PIN is still to be checked, in the order of the ledger."""
        query = PendingSeal.select(PendingSeal.event, PendingSeal.seal)
        return self._rows(query.join(Event, on=(Event.id == PendingSeal.event)).order_by(Event.position))

    def erase_seal(self, event: str) -> int:
        """Erase a sealed PIN; how many rows went (0 or 1)."""
        return self._run(PendingSeal.delete().where(PendingSeal.event == event))

    # Lists

    def put_setup(self, setup_id: str, **fields: Any) -> None:
        """Set where a setup stands."""
        if not self._run(Setup.update(fields).where(Setup.id == setup_id)):
            self._run(Setup.insert({"id": setup_id, **fields}))

    def setup(self, setup_id: str) -> Row | None:
        """Where a setup stands, or None."""
        return self._row(Setup.select().where(Setup.id == setup_id))

    def setups_by_id(self, ids: Collection[str]) -> dict[str, Row]:
        """Those of these setups that are known, by id."""
        return self._by_id(Setup.select(), Setup.id, ids)

    def setups(
        self, *, status: Sequence[str] | None = None, machine: str | None = None, newest: int = 500
    ) -> list[Row]:
        """Setups by when they were last heard of, newest first."""
        query = Setup.select().order_by(Setup.last_at_utc.desc(), Setup.id).limit(newest)
        if status is not None:
            query = query.where(Setup.status.in_(list(status)))
        if machine is not None:
            query = query.where(Setup.machine == machine)
        return self._rows(query)

    def put_question(self, row: Row) -> None:
        """List a question, once."""
        self._run(Question.insert(row).on_conflict_ignore())

    def question(self, question_id: str) -> Row | None:
        """One question, or None."""
        return self._row(Question.select().where(Question.id == question_id))

    def questions(self, *, only_open: bool = True, setup: str | None = None) -> list[Row]:
        """Questions, oldest first."""
        query = Question.select().order_by(Question.at_utc, Question.id)
        if only_open:
            query = query.where(Question.answered_at_utc.is_null())
        return self._rows(query.where(Question.setup == setup) if setup else query)

    def answer_question(self, question_id: str, by: str, decision: str, reason: str, at_utc: str) -> bool:
        """Answer a question that is open; whether it was."""
        fields = {"answered_at_utc": at_utc, "answered_by": by, "decision": decision, "reason": reason}
        still_open = (Question.id == question_id) & Question.answered_at_utc.is_null()
        return self._run(Question.update(fields).where(still_open)) == 1

    # The usual's values

    def keep_values(self, rows: list[Row]) -> None:
        """Keep values of a setup that was signed off. Raises Conflict for a second value of a setup and axis."""
        for row in rows:
            self._run(KeptValue.insert(row))

    def kept_values(self, fixture: str, *, axis: str | None = None) -> list[Row]:
        """Values of a fixture, those left out too, oldest first."""
        query = (
            KeptValue.select().where(KeptValue.fixture == fixture).order_by(KeptValue.at_utc, KeptValue.setup)
        )
        return self._rows(query.where(KeptValue.axis == axis) if axis else query)

    def leave_out(self, setup: str, axis: str, reason: str | None) -> int:
        """Leave a value out of the usual, or take it back in (None); how many rows there were (0 or 1)."""
        here = (KeptValue.setup == setup) & (KeptValue.axis == axis)
        return self._run(KeptValue.update(left_out_reason=reason).where(here))

    def _by_id(self, query: Any, column: Any, ids: Collection[str]) -> dict[str, Row]:
        found: dict[str, Row] = {}
        for part in _parts(sorted(ids)):
            found.update({row["id"]: row for row in self._rows(query.where(column.in_(part)))})
        return found


def _parts(values: list[Any]) -> Iterator[list[Any]]:
    """Stretches short enough for one statement's parameters."""
    for start in range(0, len(values), AT_A_TIME):
        yield values[start : start + AT_A_TIME]
