"""Sheets, events, what waits, what was set aside, and the lists found from them."""

import json
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from typing import Any, Literal, cast

from webapp.store.repositories.base import Repository
from webapp.store.rows import (
    EventParts,
    EventRow,
    KeptWithPerson,
    NewValue,
    PendingSealRow,
    QuestionPut,
    QuestionRow,
    SetAsideParts,
    SetAsideRow,
    SetupParts,
    SetupRow,
    SheetChecked,
    SheetDated,
    SheetInUseRow,
    SheetRow,
    WaitingRow,
)
from webapp.store.sheet_parts import join, split
from webapp.store.tables.setups import (
    Event,
    KeptValue,
    PendingSeal,
    Question,
    SetAside,
    Setup,
    Sheet,
    SheetAtFixture,
    Waiting,
)

EVENT_COLUMNS = (
    "position", "id", "jws", "device", "sequence", "setup", "type", "person", "sheet", "at_utc",
    "received_at_utc", "problems",
)  # fmt: skip
INSERT_EVENT = (
    f"INSERT INTO event ({', '.join(EVENT_COLUMNS)}) VALUES ({', '.join('?' * len(EVENT_COLUMNS))})"  # noqa: S608
)
AT_A_TIME = 500
SHEETS_AT_A_TIME = 20

# What an upload does for each event or setup is written out: building a query takes longer than running it.
SHEET_DATES = ("hash", "machine", "compiled_at_utc", "expires_at_utc")
EVENT_PARTS = ("id", "position", "device", "sequence", "setup", "type", "person", "at_utc", "problems")
HOLDERS = (
    "SELECT sequence, id FROM event WHERE device = ? AND sequence BETWEEN ? AND ? ORDER BY position DESC"
)
FORKS_IN = (
    "SELECT forked.setup, count(*) FROM (SELECT setup FROM event WHERE setup IN ({these}) "
    "GROUP BY setup, device, sequence HAVING count(*) > 1) AS forked GROUP BY forked.setup"
)
SETUP_COLUMNS = (
    "id", "device", "sheet", "machine", "person", "status", "outcome", "signature", "probe_in_spindle",
    "started_at_utc", "last_at_utc",
)  # fmt: skip
PUT_SETUP = (
    f"INSERT INTO setup ({', '.join(SETUP_COLUMNS)}) VALUES ({', '.join('?' * len(SETUP_COLUMNS))}) "  # noqa: S608
    f"ON CONFLICT (id) DO UPDATE SET {', '.join(f'{name} = excluded.{name}' for name in SETUP_COLUMNS[1:])}"
)
QUESTION_COLUMNS: tuple[Literal["id", "setup", "event", "axis", "text", "at_utc"], ...] = (
    "id", "setup", "event", "axis", "text", "at_utc",
)  # fmt: skip
PUT_QUESTION = (
    f"INSERT INTO question ({', '.join(QUESTION_COLUMNS)}) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING"  # noqa: S608
)
COUNTED_VALUES = (
    "SELECT seating, setup, value_nm, at_utc FROM kept_value "
    "WHERE fixture = ? AND axis = ? AND left_out_reason IS NULL ORDER BY at_utc, setup"
)
CHANGED_AFTER = "SELECT DISTINCT setup FROM kept_change WHERE fixture = ? AND axis = ? AND number > ?"
CHANGED_VALUES = (
    f"SELECT changed.setup, seating, value_nm, at_utc FROM ({CHANGED_AFTER}) AS changed "  # noqa: S608
    "LEFT JOIN kept_value ON kept_value.setup = changed.setup AND fixture = ? AND axis = ? AND "
    "left_out_reason IS NULL"
)
KEPT_PARTS = ("setup", "seating", "value_nm", "at_utc", "left_out_reason", "person", "has_page")
KEPT_WITH_PEOPLE = (
    "SELECT kept_value.setup, seating, value_nm, at_utc, left_out_reason, "
    "coalesce(setup.person, imported_setup.person), setup.id IS NOT NULL "
    "FROM kept_value LEFT JOIN setup ON setup.id = kept_value.setup "
    "LEFT JOIN imported_setup ON imported_setup.id = kept_value.setup "
    "WHERE fixture = ? AND axis = ? ORDER BY at_utc, kept_value.setup"
)
KEPT_NEWEST = KEPT_WITH_PEOPLE.replace(
    "AND axis = ? ORDER BY at_utc, kept_value.setup",
    "AND axis = ? AND seating = ? ORDER BY at_utc DESC, kept_value.setup DESC LIMIT ? OFFSET ?",
)
KEPT_OF = KEPT_WITH_PEOPLE.replace("AND axis = ? ORDER BY", "AND axis = ? AND kept_value.setup = ? ORDER BY")
# From each setup to its value: no index of all values of the axis is offered.
KEPT_AMONG = KEPT_WITH_PEOPLE.replace(
    "fixture = ? AND axis = ? ORDER", "fixture || '' = ? AND axis = ? AND kept_value.setup IN ({these}) ORDER"
)
KEPT_LEFT_OUT = KEPT_WITH_PEOPLE.replace(
    "AND axis = ? ORDER BY at_utc,",
    "AND axis = ? AND seating = ? AND left_out_reason IS NOT NULL ORDER BY at_utc || '',",
)
# From what was left out to its times: no index of times is offered, for all that counts stands in it.
LEFT_OUT_BEFORE = (
    "SELECT count(*) FROM kept_value WHERE fixture = ? AND axis = ? AND left_out_reason IS NOT NULL "
    "AND seating = ? AND (at_utc || '', setup) < (?, ?)"
)
# The nearest first: it is in the same seating as a rule.
KEPT_BEFORE = (
    "SELECT 1 FROM kept_value WHERE fixture = ? AND axis = ? AND seating = ? AND at_utc < ? "
    "ORDER BY at_utc DESC LIMIT 1"
)
LEFT_OUT = (
    "SELECT seating, count(*) FROM kept_value WHERE fixture = ? AND axis = ? AND left_out_reason IS NOT NULL "
    "GROUP BY seating"
)
STARTED_BETWEEN = (
    "SELECT id FROM setup WHERE started_at_utc >= ? AND started_at_utc < ? "
    "AND EXISTS (SELECT 1 FROM event WHERE event.setup = setup.id) ORDER BY started_at_utc, id"
)
TO_SEAL = "SELECT id FROM setup WHERE status = 'signed_off' AND sealed = FALSE ORDER BY last_at_utc LIMIT ?"
COUNT_TO_SEAL = "SELECT count(*) FROM setup WHERE status = 'signed_off' AND sealed = FALSE"
# From the open questions to their setups, never from all setups of a machine to their questions.
OPEN_AT_MACHINE = (
    "SELECT count(*) FROM question WHERE answered_at_utc IS NULL "
    "AND (SELECT machine FROM setup WHERE setup.id = question.setup) = ?"
)
# Rows in lists whose setup has no event any more, or never had one.
OF_NO_SETUP = (
    "SELECT 'setup ' || id FROM setup WHERE NOT EXISTS (SELECT 1 FROM event WHERE event.setup = setup.id) "
    "UNION ALL SELECT 'question ' || id FROM question "
    "WHERE NOT EXISTS (SELECT 1 FROM event WHERE event.id = question.event) "
    "UNION ALL SELECT 'worry ' || event FROM worry "
    "WHERE NOT EXISTS (SELECT 1 FROM event WHERE event.id = worry.event) LIMIT 1000"
)
# From the few that wait to their events, never along all events for the order of the ledger.
PENDING_SEALS = (
    "SELECT pending_seal.event, pending_seal.seal FROM pending_seal CROSS JOIN event "
    "WHERE event.id = pending_seal.event ORDER BY event.position + 0"
)
CHECKED = ("machine", "fixture", "hash", "version", "checked_at_utc")
SHEETS_IN_USE = f"SELECT {', '.join(CHECKED)} FROM sheet_at_fixture"  # noqa: S608
KEEP_PART = "INSERT INTO sheet_part (hash, body) VALUES (?, ?) ON CONFLICT DO NOTHING"
# Their order is that of the ledger: a later touch of the same axis comes later.
NEWEST_RECEIPT = "SELECT max(received_at_utc) FROM event WHERE id IN ({these})"
TOUCHES_OF = (
    "SELECT setup, id, jws FROM event WHERE setup IN ({these}) "
    "AND type IN ('touch.entered', 'touch.read_again') ORDER BY position"
)
# From each person to their setups, and from a setup to its own values: no index of seatings is offered.
WITH_VALUES_AT = (
    "SELECT value FROM ({these}) AS person WHERE EXISTS (SELECT 1 FROM setup CROSS JOIN kept_value "
    "WHERE kept_value.setup = setup.id AND setup.person = person.value "
    "AND kept_value.seating || '' = ? AND kept_value.left_out_reason IS NULL)"
)
UNSIGNED_SINCE = (
    "SELECT coalesce(source, ''), count(*) FROM set_aside "
    "WHERE device IS NULL AND received_at_utc >= ? GROUP BY 1"
)
FORGET_UNSIGNED = (
    "DELETE FROM set_aside WHERE id IN (SELECT id FROM set_aside WHERE device IS NULL "
    "ORDER BY received_at_utc DESC, id LIMIT 9223372036854775807 OFFSET ?)"
)
WITH_EVENTS = "SELECT DISTINCT setup FROM event WHERE setup > ? ORDER BY setup LIMIT ?"
EVENTS_OF = "SELECT id, jws FROM event WHERE setup = ? ORDER BY sequence, id"


class SetupsRepository(Repository):
    """The events are the truth; `setup` and `question` rows are lists that a fold can make again."""

    # Sheets

    def keep_sheet(
        self, sheet_hash: str, machine: str, text: str, content: str, times: tuple[str, str]
    ) -> None:
        """Keep a sheet that is handed out; `times` are compiled and expires.
        Does nothing for one that is there; one that was let go is there again.

        A sheet whose parts do not join to its text,
        because one that was kept before is damaged, is kept whole.
        """
        if self.has_sheet(sheet_hash):
            return
        form, parts = split(text)
        self._database.run_many(KEEP_PART, list(parts.items()))
        kept = form if self._joins_to(form, text) else text
        fields = {"hash": sheet_hash, "machine": machine, "text": kept, "content": content}
        row = {**fields, "compiled_at_utc": times[0], "expires_at_utc": times[1]}
        if self._run(Sheet.insert(row).on_conflict_ignore()) == 0:
            back = Sheet.update(text=kept, content=content)
            self._run(back.where((Sheet.hash == sheet_hash) & (Sheet.text == "")))

    def sheet(self, sheet_hash: str) -> SheetRow | None:
        """One sheet, or None; also for one that was let go."""
        query = Sheet.select().where((Sheet.hash == sheet_hash) & (Sheet.text != ""))
        row: SheetRow | None = self._row(query)
        return self._whole(row) if row else None

    def _joins_to(self, form: str, text: str) -> bool:
        try:
            return join(form, self._parts_of_sheets) == text
        except ValueError:
            return False

    def has_sheet(self, sheet_hash: str) -> bool:
        """Whether this sheet was handed out and is there."""
        return bool(self._database.raw("SELECT 1 FROM sheet WHERE hash = ? AND text <> ''", (sheet_hash,)))

    def _whole(self, row: SheetRow) -> SheetRow:
        """The row with the exact text of its sheet."""
        return {**row, "text": join(row["text"], self._parts_of_sheets)}

    def _parts_of_sheets(self, hashes: Collection[str]) -> dict[str, bytes]:
        found = self._found("sheet_part", ("hash", "body"), hashes, key="hash")
        return {hash_: bytes(row["body"]) for hash_, row in found.items()}

    def all_sheets(self) -> Iterator[SheetRow]:
        """Every sheet that was handed out, by hash, read a few at a time: those that were let go, too, which
        have no text, and of which none may be one that an event names.
        """
        after = ""
        while rows := self._rows(
            Sheet.select().where(Sheet.hash > after).order_by(Sheet.hash).limit(SHEETS_AT_A_TIME)
        ):
            yield from map(self._whole, rows)
            after = rows[-1]["hash"]

    def sheet_in_use(self, machine: str, fixture: str) -> SheetInUseRow | None:
        """The sheet that was last found right for a machine with this fixture, with `version` and
        `checked_at_utc`, or None.
        """
        here = (SheetAtFixture.machine == machine) & (SheetAtFixture.fixture == fixture)
        row = self._row(SheetAtFixture.select().where(here))
        sheet = self.sheet(row["hash"]) if row else None
        return cast("SheetInUseRow", {**row, **sheet}) if row and sheet else None

    def sheets_in_use(self) -> dict[tuple[str, str], SheetChecked]:
        """The same for all, by machine and fixture, without the sheets themselves."""
        rows = self._database.raw(SHEETS_IN_USE)
        return {(row[0], row[1]): cast("SheetChecked", dict(zip(CHECKED, row, strict=True))) for row in rows}

    def sheet_versions(self) -> dict[str, int]:
        """How often what sheets are compiled from has changed, by subject:
        "shop", "machine:…", "fixture:…".
        """
        return dict(self._database.raw("SELECT subject, number FROM sheet_version"))

    def sheets_dated(self, hashes: Collection[str]) -> list[SheetDated]:
        """When these sheets were made and end, without the sheets themselves, in the order in which they were
        made.
        """
        found: dict[str, SheetDated] = self._found("sheet", SHEET_DATES, hashes, key="hash")
        return sorted(found.values(), key=lambda row: (row["compiled_at_utc"], row["hash"]))

    def texts_of_sheets(self, hashes: Collection[str]) -> dict[str, str]:
        """The texts of these sheets, by hash."""
        found = self._found("sheet", ("hash", "text"), hashes, key="hash")
        return {hash_: join(row["text"], self._parts_of_sheets) for hash_, row in found.items()}

    def use_sheet(
        self, machine: str, fixture: str, sheet_hash: str, version: str, checked_at_utc: str
    ) -> None:
        """Say that a sheet was found right for a machine with this fixture."""
        fields = {"machine": machine, "fixture": fixture, "hash": sheet_hash, "version": version}
        here = SheetAtFixture
        self._run(
            here.insert({**fields, "checked_at_utc": checked_at_utc}).on_conflict(
                conflict_target=[here.machine, here.fixture],
                preserve=[here.hash, here.version, here.checked_at_utc],
            )
        )

    # Events

    def add_events(self, rows: list[tuple[Any, ...]]) -> None:
        """Store events of one upload, in the order of the ledger,
        each a tuple in the order of EVENT_COLUMNS.
        """
        self._database.run_many(INSERT_EVENT, rows)
        self._database.raw(self._database.engine.note_events, (rows[0][0], rows[-1][0]))

    def events_by_id(self, ids: Collection[str]) -> dict[str, EventParts]:
        """Those of these events that are stored, by id, without their signed text."""
        return self._found("event", EVENT_PARTS, ids)

    def events_of(self, setup: str) -> list[EventRow]:
        """Events of one setup in the order of the device's chain (forks side by side)."""
        return self._rows(Event.select().where(Event.setup == setup).order_by(Event.sequence, Event.id))

    def texts_of(self, setup: str) -> list[tuple[str, str]]:
        """Id and signed text of the events of one setup, in the order of the device's chain."""
        return [(id_, jws) for id_, jws in self._database.raw(EVENTS_OF, (setup,))]

    def forks_in(self, setups: Collection[str]) -> dict[str, int]:
        """In which of these setups a number of a tablet is carried by several events, and how many numbers
        are, by setup.
        """
        rows = self._among(FORKS_IN, (json.dumps(list(setups)),))
        return {setup: int(count) for setup, count in rows}

    def signed_texts(self, ids: Collection[str]) -> dict[str, str]:
        """The signed texts of those of these events that are stored, by id, in the order asked for."""
        found = self._found("event", ("id", "jws"), ids)
        return {id_: found[id_]["jws"] for id_ in ids if id_ in found}

    def newest_receipt(self, events: Collection[str]) -> str | None:
        """When the server got the last of these events, or None where it has none of them."""
        rows = self._among(NEWEST_RECEIPT, (json.dumps(list(events)),))
        return str(rows[0][0]) if rows and rows[0][0] is not None else None

    def touches_of(self, setups: Collection[str]) -> list[tuple[str, str, str]]:
        """Setup, id and signed text of every touch in these setups, in the order of the ledger."""
        rows = self._among(TOUCHES_OF, (json.dumps(list(setups)),)) if setups else []
        return [(setup, id_, jws) for setup, id_, jws in rows]

    def holders(self, device: str, sequences: Collection[int]) -> dict[int, str]:
        """For those sequence numbers of a tablet that are taken: the event that came first."""
        if not sequences:
            return {}
        values = (device, min(sequences), max(sequences))
        return {
            sequence: id_ for sequence, id_ in self._database.raw(HOLDERS, values) if sequence in sequences
        }

    def events_between(self, first: int, before: int) -> list[EventRow]:
        """The events at these places of the ledger, `before` not included, in order."""
        here = (Event.position >= first) & (Event.position < before)
        return self._rows(Event.select().where(here).order_by(Event.position))

    def setups_with_events(self, after: str, most: int) -> list[str]:
        """Ids of setups that have events, behind this one, in order."""
        return [row[0] for row in self._database.raw(WITH_EVENTS, (after, most))]

    # What waits for its predecessor

    def wait(self, row: WaitingRow) -> None:
        """Keep an event until the one before it comes."""
        self._run(Waiting.insert(row).on_conflict_ignore())

    def waiting(self, device: str | None = None) -> list[WaitingRow]:
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

    def set_aside(self, row: SetAsideRow) -> bool:
        """Keep something refused, once; whether it is new."""
        stored = {**row, "fields": json.dumps(row["fields"], sort_keys=True, ensure_ascii=False)}
        return self._run(SetAside.insert(stored).on_conflict_ignore()) == 1

    def set_aside_by_id(self, ids: Collection[str]) -> dict[str, SetAsideParts]:
        """Those of these that were set aside with a fitting signature, by id, without their text."""
        found = self._found("set_aside", ("id", "code", "fields", "device", "sequence"), ids)
        rows = {id_: row for id_, row in found.items() if row["device"] is not None}
        for row in rows.values():
            row["fields"] = _fields(row["fields"])
        return rows

    def signed_and_set_aside(self, ids: Collection[str]) -> set[str]:
        """Those of these that were set aside with a fitting signature."""
        return {id_ for id_, row in self._found("set_aside", ("id", "device"), ids).items() if row["device"]}

    def unsigned_since(self, from_utc: str) -> Counter[str]:
        """How many texts without a fitting signature were set aside from this time on,
        by where they came from.
        """
        return Counter(dict(self._database.raw(UNSIGNED_SINCE, (from_utc,))))

    def forget_unsigned(self, most: int) -> None:
        """Keep the newest of the texts without a fitting signature, so many."""
        self._database.raw(FORGET_UNSIGNED, (most,))

    def refused(self, newest: int = 200) -> list[SetAsideRow]:
        """What was set aside, newest first."""
        rows = self._rows(
            SetAside.select().order_by(SetAside.received_at_utc.desc(), SetAside.id).limit(newest)
        )
        for row in rows:
            row["fields"] = _fields(row["fields"])
        return rows

    # Sealed PINs that could not be checked yet

    def keep_seal(self, event: str, seal: str | None) -> None:
        """Keep a sealed PIN for later; the first one stays."""
        self._run(PendingSeal.insert(event=event, seal=seal).on_conflict_ignore())

    def pending_seals(self) -> list[PendingSealRow]:
        """Event and seal of every signature whose PIN is still to be checked, in the order of the ledger."""
        rows = self._database.raw(PENDING_SEALS)
        return [{"event": event, "seal": seal} for event, seal in rows]

    def pending_seal(self, event: str) -> str | None:
        """The seal that is kept for this event, or None."""
        row = self._row(PendingSeal.select(PendingSeal.seal).where(PendingSeal.event == event))
        return row["seal"] if row else None

    def erase_seal(self, event: str) -> int:
        """Erase a sealed PIN; how many rows went (0 or 1)."""
        return self._run(PendingSeal.delete().where(PendingSeal.event == event))

    # Lists

    def of_no_setup(self) -> list[str]:
        """Table and key of rows of setups, questions and worries without an event."""
        return [row[0] for row in self._database.raw(OF_NO_SETUP)]

    def put_setup(self, setup_id: str, **fields: Any) -> None:
        """Set where a setup stands; `fields` are all columns but the id."""
        values = [tuple({"id": setup_id, **fields}[name] for name in SETUP_COLUMNS)]
        self._database.run_many(PUT_SETUP, values)

    def setup(self, setup_id: str) -> SetupRow | None:
        """Where a setup stands, or None."""
        return self._row(Setup.select().where(Setup.id == setup_id))

    def setups_by_id(self, ids: Collection[str]) -> dict[str, SetupParts]:
        """Those of these setups that are known, by id."""
        return self._found("setup", SETUP_COLUMNS, ids)

    def setups(
        self, *, status: Sequence[str] | None = None, machine: str | None = None, newest: int = 500
    ) -> list[SetupRow]:
        """Setups by when they were last heard of, newest first."""
        query = Setup.select().order_by(Setup.last_at_utc.desc(), Setup.id).limit(newest)
        if status is not None and len(status) == 1:
            query = query.where(Setup.status == status[0])  # read along its index, newest first
        elif status is not None:
            query = query.where(Setup.status.in_(list(status)))
        if machine is not None:
            query = query.where(Setup.machine == machine)
        return self._rows(query)

    def any_was_begun(self) -> bool:
        """Whether there is a setup at all."""
        return bool(self._database.raw("SELECT id FROM setup ORDER BY id LIMIT 1"))

    def started_between(self, since_utc: str, until_utc: str) -> list[str]:
        """Setups that a tablet started from `since_utc` up to, not including, `until_utc`, earliest first."""
        return [row[0] for row in self._database.raw(STARTED_BETWEEN, (since_utc, until_utc))]

    def to_seal(self, most: int) -> list[str]:
        """Setups that are signed off and have no sealed record, longest waiting first."""
        return [row[0] for row in self._database.raw(TO_SEAL, (most,))]

    def count_to_seal(self) -> int:
        """How many setups are signed off and have no sealed record."""
        return int(self._database.raw(COUNT_TO_SEAL)[0][0])

    def open_questions_at(self, machine: str) -> int:
        """How many questions of setups at this machine are open."""
        return int(self._database.raw(OPEN_AT_MACHINE, (machine,))[0][0])

    def put_questions(self, rows: Sequence[QuestionPut]) -> None:
        """List questions, each once."""
        self._database.run_many(PUT_QUESTION, [tuple(row[name] for name in QUESTION_COLUMNS) for row in rows])

    def question(self, question_id: str) -> QuestionRow | None:
        """One question, or None."""
        return self._row(Question.select().where(Question.id == question_id))

    def setups_of_questions(self, ids: Collection[str]) -> dict[str, str]:
        """Whose setup each of these questions was put in, for those that are listed."""
        return {id_: row["setup"] for id_, row in self._found("question", ("id", "setup"), ids).items()}

    def questions(self, *, only_open: bool = True, setup: str | None = None) -> list[QuestionRow]:
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

    def keep_values(self, rows: Sequence[NewValue]) -> None:
        """Keep values of a setup that was signed off.
        Raises Conflict for a second value of a setup and axis.
        """
        for row in rows:
            self._run(KeptValue.insert(row))

    def kept_with_people(self, fixture: str, axis: str) -> list[KeptWithPerson]:
        """Values of one axis of a fixture, those left out too, oldest first:
        who brought each, and whether its setup was walked through here.
        """
        return self._kept(KEPT_WITH_PEOPLE, fixture, axis)

    def kept_of(self, fixture: str, axis: str, setup: str) -> list[KeptWithPerson]:
        """The one value of a setup on an axis of a fixture, left out or not; nothing where it has none."""
        return self._kept(KEPT_OF, fixture, axis, setup)

    def kept_newest(
        self, fixture: str, axis: str, seating: str, most: int, passed: int
    ) -> list[KeptWithPerson]:
        """The newest values of one axis in a seating, oldest first: so many at most, behind the newest
        `passed`.
        """
        return self._kept(KEPT_NEWEST, fixture, axis, seating, most, passed)[::-1]

    def kept_among(self, fixture: str, axis: str, setups: Collection[str]) -> list[KeptWithPerson]:
        """The values of these setups on an axis of a fixture, left out or not, oldest first."""
        rows = self._among(KEPT_AMONG, (fixture, axis, json.dumps(list(setups))))
        return list(map(_with_person, rows))

    def kept_left_out(self, fixture: str, axis: str, seating: str) -> list[KeptWithPerson]:
        """The values of one axis that were left out in a seating, oldest first."""
        return self._kept(KEPT_LEFT_OUT, fixture, axis, seating)

    def is_kept_before(self, fixture: str, axis: str, seating: str, at_utc: str) -> bool:
        """Whether a value of an axis in a seating, left out or not, was touched before this time."""
        return bool(self._database.raw(KEPT_BEFORE, (fixture, axis, seating, at_utc)))

    def _kept(self, statement: str, *values: str | int) -> list[KeptWithPerson]:
        return list(map(_with_person, self._database.raw(statement, values)))

    def left_out_before(self, fixture: str, axis: str, seating: str, at_utc: str, setup: str) -> int:
        """How many values of an axis were left out in a seating before this setup of this time."""
        rows = self._database.raw(LEFT_OUT_BEFORE, (fixture, axis, seating, at_utc, setup))
        return int(rows[0][0])

    def left_out_values(self, fixture: str, axis: str) -> dict[str, int]:
        """How many values of an axis were left out of the usual, by seating."""
        return dict(self._database.raw(LEFT_OUT, (fixture, axis)))

    def counted_values(self, fixture: str, axis: str) -> list[tuple[str, str, int, str]]:
        """Seating, setup, value and time of an axis, without those left out, oldest first."""
        return self._database.raw(COUNTED_VALUES, (fixture, axis))

    def with_values_at(self, seating: str, people: Collection[str]) -> frozenset[str]:
        """Those of these people of whom a value counts in this seating."""
        rows = self._among(WITH_VALUES_AT, (json.dumps(list(people)), seating)) if people else []
        return frozenset(person for (person,) in rows)

    def changes_of_values(self, fixture: str, axis: str) -> int:
        """How often an axis' values have changed, those of this transaction among them."""
        statement = "SELECT coalesce(max(number), 0) FROM kept_change WHERE fixture = ? AND axis = ?"
        return int(self._database.raw(statement, (fixture, axis))[0][0])

    def changed_values(self, fixture: str, axis: str, after: int) -> list[tuple[str, str | None, int, str]]:
        """Setups whose value changed after so many changes:
        setup, seating, value and time of the value that counts now; the seating is None where none does.
        """
        return self._database.raw(CHANGED_VALUES, (fixture, axis, after, fixture, axis))

    def leave_out(self, setup: str, axis: str, reason: str | None) -> int:
        """Leave a value out of the usual, or take it back in (None); how many rows there were (0 or 1)."""
        here = (KeptValue.setup == setup) & (KeptValue.axis == axis)
        return self._run(KeptValue.update(left_out_reason=reason).where(here))

    def move_values(self, *, fixture: str, from_seating: str, to_seating: str, since_utc: str) -> int:
        """Count a fixture's values of one seating from a time on (inclusive) for another;
        how many there were.
        """
        here = (KeptValue.fixture == fixture) & (KeptValue.seating == from_seating)
        moved = KeptValue.update(seating=to_seating).where(here & (KeptValue.at_utc >= since_utc))
        return self._run(moved)

    def _found(
        self, table: str, columns: tuple[str, ...], ids: Collection[str], key: str = "id"
    ) -> dict[str, Any]:
        """Rows of these ids, by id (the first column). One statement: the ids travel as one JSON text."""
        if not ids:
            return {}
        statement = f"SELECT {', '.join(columns)} FROM {table} WHERE {key} IN ({{these}})"  # noqa: S608
        rows = self._among(statement, (json.dumps(list(ids)),))
        return {row[0]: dict(zip(columns, row, strict=True)) for row in rows}


def _with_person(row: tuple[Any, ...]) -> KeptWithPerson:
    return cast("KeptWithPerson", dict(zip(KEPT_PARTS, row, strict=True)))


def _fields(text: str) -> Any:
    """What was said of something set aside;
    nothing where another hand made the text no JSON, as the audit says.
    """
    try:
        return json.loads(text)
    except ValueError:
        return {}


def _parts(values: list[Any]) -> Iterator[list[Any]]:
    """Stretches short enough for one statement's parameters."""
    for start in range(0, len(values), AT_A_TIME):
        yield values[start : start + AT_A_TIME]
