"""Events, what waits for the one before it, what was set aside, and sealed PINs that wait to be checked."""

import json
from collections import Counter
from collections.abc import Collection, Iterator
from typing import Any

from webapp.store.repositories.base import Repository
from webapp.store.rows import EventParts, EventRow, PendingSealRow, SetAsideParts, SetAsideRow, WaitingRow
from webapp.store.tables.setups import Event, PendingSeal, SetAside, Waiting

EVENT_COLUMNS = (
    "position", "id", "jws", "device", "sequence", "setup", "type", "person", "sheet", "at_utc",
    "received_at_utc", "problems",
)  # fmt: skip
INSERT_EVENT = (
    f"INSERT INTO event ({', '.join(EVENT_COLUMNS)}) VALUES ({', '.join('?' * len(EVENT_COLUMNS))})"  # noqa: S608
)
AT_A_TIME = 500

# What an upload does for each event or setup is written out: building a query takes longer than running it.
EVENT_PARTS = ("id", "position", "device", "sequence", "setup", "type", "person", "at_utc", "problems")
HOLDERS = (
    "SELECT sequence, id FROM event WHERE device = ? AND sequence BETWEEN ? AND ? ORDER BY position DESC"
)
FORKS_IN = (
    "SELECT forked.setup, count(*) FROM (SELECT setup FROM event WHERE setup IN ({these}) "
    "GROUP BY setup, device, sequence HAVING count(*) > 1) AS forked GROUP BY forked.setup"
)
# From the few that wait to their events, never along all events for the order of the ledger.
PENDING_SEALS = (
    "SELECT pending_seal.event, pending_seal.seal FROM pending_seal CROSS JOIN event "
    "WHERE event.id = pending_seal.event ORDER BY event.position + 0"
)
NEWEST_RECEIPT = "SELECT max(received_at_utc) FROM event WHERE id IN ({these})"
# Their order is that of the ledger: a later touch of the same axis comes later.
TOUCHES_OF = (
    "SELECT setup, id, jws FROM event WHERE setup IN ({these}) "
    "AND type IN ('touch.entered', 'touch.read_again') ORDER BY position"
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


class EventsRepository(Repository):
    """The events are the truth: all that is listed of a setup is found from them."""

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
