"""Which rows of which tables every change is noted of, and how: a digest of the row before and after it.

Rules:
- a change made through this program is noted in `row_change` in the same transaction, by triggers that live
  in the program's own connections and not in the file: whoever opens the file with another tool changes a row
  and leaves no note, and the audit sees a row that its last note does not fit;
- a note holds the row's key and digests (SHA-256) and no other value; a key that is itself the hash of a
  secret is digested once more, so that what is erased with its row does not live on here;
- notes stay for ever, so their number grows with what people and tablets do that is kept: one for each change
  of a row, one for each upload of events. Nobody without a name or a tablet of the shop adds any but for what
  is set aside, which is bounded by the day; counts of failed tries are left out for that reason;
- events are signed, and the audit holds their rows against what was signed; what the server adds to them,
  when they came and what was wrong with them, is noted once an upload, because a note for each event made
  intake slower;
- a row is digested as a JSON object of its columns without those that are NULL,
  so that a column that comes later changes no older digest;
- notes are added and never changed;
  audits write onto the ledger how many there were and one digest over all of them.
What stands below goes with the step that noted every row there was: once released it never changes, columns
that come later are added in COLUMNS_SINCE. While steps run nothing is noted: a step that changes a value of a
covered row notes those rows itself, with `first_notes` and the columns that there are by then.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from hashlib import sha256

FUNCTION = "row_digest"
# A length in steps of a millionth: how a REAL is written differs from one SQLite to the next.
MILLIONTHS = {"coverage_factor"}


@dataclass(frozen=True, slots=True)
class Covered:
    """A table: the columns of its key, and the others that are digested."""

    name: str
    key: tuple[str, ...]
    others: tuple[str, ...]
    secret: bool = False

    @property
    def since(self) -> tuple[str, ...]:
        """The columns that came later."""
        return COLUMNS_SINCE.get(self.name, ())

    def key_of(self, row: str = "") -> str:
        """SQL for the key as a JSON list; `row` is "NEW." or "OLD.", or the table's name with a point."""
        columns = [row + column for column in self.key]
        return f"json_array({', '.join(f'{FUNCTION}({one})' if self.secret else one for one in columns)})"

    def digest_of(self, row: str = "", since: tuple[str, ...] | None = None) -> str:
        """SQL for the digest of a row;
        `since` stands for the columns that came later, all there are by themselves.
        """
        columns = (*self.key, *self.others, *(self.since if since is None else since))
        pairs = ", ".join(f"'{column}', {_value(row, column)}" for column in columns)
        return f"{FUNCTION}(json_patch('{{}}', json_object({pairs})))"


def _value(row: str, column: str) -> str:
    if column in MILLIONTHS:
        return f"CAST(round({row}{column} * 1000000) AS INTEGER)"
    return row + column


def _covered(name: str, key: str, others: str, *, secret: bool = False) -> Covered:
    return Covered(name, tuple(key.split()), tuple(others.split()), secret)


COLUMNS_SINCE: dict[str, tuple[str, ...]] = {
    "authorisation": ("level", "given_by", "training"),
    "slot": ("used_otherwise",),
}
COVERED_AT_FIRST: tuple[Covered, ...] = (
    _covered(
        "person",
        "id",
        "name roles active disabled_at_utc passphrase_hash pin_hash must_change must_change_pin "
        "first_secrets_until_utc",
    ),
    _covered("authorisation", "number", "person machine from_utc until_utc withdrawn_at_utc"),
    _covered("item", "kind id", "value active"),
    _covered(
        "slot", "machine label", "kind owner until_utc held_back last_values last_seen_at_utc last_setup"
    ),
    _covered("seating", "id", "fixture since_utc until_utc reason"),
    _covered("device", "id", "name jwk state display pin_key receipt_key enrolled_at_utc"),
    _covered("code", "hash", "made_by made_at_utc until_utc used_at_utc", secret=True),
    _covered("sheet", "hash", "machine content compiled_at_utc expires_at_utc"),
    _covered("sheet_in_use", "machine", "hash"),
    _covered("waiting", "id", "jws device sequence previous received_at_utc"),
    _covered("set_aside", "id", "jws code fields device sequence setup received_at_utc source"),
    _covered("pending_seal", "event", "seal"),
    _covered(
        "setup",
        "id",
        (
            "device sheet machine person status outcome signature "
            "probe_in_spindle started_at_utc last_at_utc sealed"
        ),
    ),
    _covered("question", "id", "setup event axis text at_utc answered_at_utc answered_by decision reason"),
    _covered(
        "worry",
        "event",
        "setup machine fixture probe about kind blocks text person at_utc closed_at_utc closed_by closed_how "
        "closed_reason",
    ),
    _covered("kept_value", "setup axis", "fixture seating value_nm at_utc left_out_reason imported"),
    _covered("session", "token_hash", "person source started_at_utc ended_at_utc ended_because", secret=True),
    _covered("record", "setup", "sha256 bytes sealed_at_utc"),
    _covered(
        "axis_choice", "fixture axis", "ask_one_in stop_one_in ceiling_nm coverage_factor stop_length_nm"
    ),
    _covered("history_import", "number", "sha256 name setups values_kept refused by at_utc"),
    _covered("imported_setup", "id", "imported line machine person named note"),
    _covered("probe_care", "probe", "every_days factor_hundredths"),
    _covered("probe_check", "number", "probe machine at_utc by note typed found"),
    _covered("budget", "machine fixture probe", "value"),
    _covered("z_check", "number", "machine point length_nm made_with typed by at_utc"),
)
PERSON = COVERED_AT_FIRST[0]
# The salt is erased with the name: what is left of it here tells nobody who it was.
PERSON_NAME = _covered("person_name", "person", "name salt")
SHEET_AT_FIXTURE = _covered("sheet_at_fixture", "machine fixture", "hash")
# Tables that are no more: notes of their rows stay, and are of nothing that can be looked at.
NO_MORE = {"sheet_in_use"}
COVERED = (
    *(table for table in COVERED_AT_FIRST if table.name not in NO_MORE),
    PERSON_NAME,
    SHEET_AT_FIXTURE,
)
# What the server adds to events, noted once an upload under the first and the last position.
EVENTS = "event"
EVENT_COLUMNS = ("position", "received_at_utc", "problems")
_PARTS = ", ".join(EVENT_COLUMNS)
_THESE = f"SELECT {_PARTS} FROM event WHERE position BETWEEN ?1 AND ?2 ORDER BY position"  # noqa: S608
DIGEST_OF_EVENTS = f"SELECT {FUNCTION}(json_group_array(json_array({_PARTS}))) FROM ({_THESE})"  # noqa: S608
NOTE_EVENTS = (
    "INSERT INTO row_change (name, key, old, new) "
    f"SELECT '{EVENTS}', json_array(?1, ?2), NULL, ({DIGEST_OF_EVENTS})"
)
FIRST_NOTE_OF_EVENTS = (
    "INSERT INTO row_change (name, key, old, new) "  # noqa: S608
    f"SELECT '{EVENTS}', json_array(min(position), max(position)), NULL, "
    f"{FUNCTION}(json_group_array(json_array({_PARTS}))) "
    f"FROM (SELECT {_PARTS} FROM event ORDER BY position) HAVING count(*) > 0"
)
SIGNED = "the event's signature covers it, and the audit compares the row with what was signed"
FOLDED = "made of the setup's events, and the audit makes it again and compares"
# What no note is made of, each with the reason: a table, or table.column.
NOT_COVERED: dict[str, str] = {
    "leaf": "the hash tree covers it",
    "node": "the hash tree covers it",
    "change": "the hash tree covers it",
    "event.jws": "the hash tree covers it",
    **{
        f"event.{column}": SIGNED
        for column in ("id", "device", "sequence", "setup", "type", "person", "sheet", "at_utc")
    },
    "throttle": "counts of failed tries, which strangers make; what is refused for them stands on the ledger",
    "sheet.text": "its hash is its name; one that was let go is none that an event names",
    "sheet_named": "made of the events' own rows",
    **dict.fromkeys(("setup_term", "setup_words", "setup_to_find"), FOLDED),
    "sheet_part": "its hash is its name, and every sheet that has it is put together and hashed",
    "migration": "compared with the program at every start",
    "row_change": "the digest over all notes that each audit writes onto the ledger covers it",
    "device.last_seen_at_utc": "when a tablet was last heard of",
    "device.health": "what a tablet last said of its storage and clock",
    "session.seen_at_utc": "when a session was last used",
    "sheet_at_fixture.version": "only says when a sheet is compiled anew",
    "sheet_at_fixture.checked_at_utc": "only says when a sheet is compiled anew",
    "sheet_version": "only says when a sheet is compiled anew",
    "kept_change": "only says what is read anew of the usual values",
}

# What follows from no event and no entry: only the note of a change tells it, so that whoever forges a note
# behind the last audit is found by nobody.
ONLY_NOTED: dict[str, str] = {
    "item procedure draft:": "a draft of a procedure, which nobody decided yet",
    "waiting.received_at_utc": "when an event came that waits for an earlier one",
    "waiting": "that it is gone: the tablet keeps it until it is taken in, and sends it again",
    "sheet_at_fixture": "which sheet is handed out: looked at anew within a quarter of an hour",
    "pending_seal": "that it is gone: the tablet asks for the PIN again",
    "pending_seal.seal": "a sealed PIN that waits for its check: another one opens nothing",
    "event.received_at_utc": "when the server took an event in",
    "event.problems": "what was wrong when it came; the fold says anew what is wrong now",
}


def digest(text: str) -> str:
    """SHA-256 of a row's JSON, lower-case hex: what the SQL function gives."""
    return sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def add_function(connection: sqlite3.Connection) -> None:
    """Let this connection's SQL digest rows."""
    connection.create_function(FUNCTION, 1, digest, deterministic=True)


def note_changes(connection: sqlite3.Connection) -> bool:
    """Have every change of a covered row made through this connection noted;
    False where no notes are kept yet.
    """
    tables = connection.execute("SELECT name FROM main.sqlite_master WHERE type = 'table'")
    there = {name for (name,) in tables}
    if "row_change" not in there:
        return False
    for table in COVERED:
        if table.name not in there:
            continue  # a step that comes later makes it
        for statement in _triggers(table):
            connection.execute(statement)
    return True


def first_notes(table: Covered, since: tuple[str, ...] = ()) -> str:
    """The statement that notes every row that is there already;
    `since` are the columns that came later by then.
    """
    return (
        "INSERT INTO row_change (name, key, old, new) "  # noqa: S608
        f"SELECT '{table.name}', {table.key_of()}, NULL, {table.digest_of(since=since)} FROM {table.name}"
    )


def _triggers(table: Covered) -> tuple[str, ...]:
    old, new = table.digest_of("OLD."), table.digest_of("NEW.")
    was, now = table.key_of("OLD."), table.key_of("NEW.")
    values = (*table.others, *table.since)
    return (
        _trigger(table, "INSERT", "", (now, "NULL", new)),
        _trigger(
            table, "UPDATE", f"WHEN {_differ(table.key, 'IS')} AND ({_differ(values)})", (now, old, new)
        ),
        _trigger(table, "UPDATE", f"WHEN {_differ(table.key)}", (was, old, "NULL"), (now, "NULL", new)),
        _trigger(table, "DELETE", "", (was, old, "NULL")),
    )


def _differ(columns: tuple[str, ...], how: str = "IS NOT") -> str:
    """Whether any of these columns changed; with "IS", whether none did.
    A comparison costs less than a digest.
    """
    joined = " OR " if how == "IS NOT" else " AND "
    return "(" + joined.join(f"OLD.{column} {how} NEW.{column}" for column in columns) + ")"


def _trigger(table: Covered, action: str, when: str, *notes: tuple[str, str, str]) -> str:
    name = f"{table.name}_{action.lower()}_noted_{len(notes)}"
    which = (table.key if len(notes) > 1 else (*table.others, *table.since)) if action == "UPDATE" else ()
    of = f" OF {', '.join(which)}" if which else ""
    start = f"CREATE TEMP TRIGGER IF NOT EXISTS {name} AFTER {action}{of} ON main.{table.name} {when} BEGIN"
    into = f"INSERT INTO row_change (name, key, old, new) VALUES ('{table.name}',"  # noqa: S608
    kept = " ".join(f"{into} {key}, {old}, {new});" for key, old, new in notes)
    return f"{start} {kept} END"
