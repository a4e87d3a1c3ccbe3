"""Where setups stand, and the questions put in them."""

from collections.abc import Collection, Sequence
from typing import Any, Literal

from webapp.store.repositories.base import Repository
from webapp.store.rows import QuestionPut, QuestionRow, SetupParts, SetupRow
from webapp.store.tables.setups import Question, Setup

SETUP_COLUMNS = (
    "id", "device", "sheet", "machine", "person", "status", "outcome", "signature", "probe_in_spindle",
    "started_at_utc", "last_at_utc",
)  # fmt: skip
# Written out, as what an upload does for each event is (events.py).
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
# Rows in lists, a stretch of each table by its key, and whether the event that they are of is there.
ROWS_OF_EVENTS = {
    "setup": "SELECT id, EXISTS (SELECT 1 FROM event WHERE event.setup = setup.id) FROM setup WHERE id > ? "
    "ORDER BY id LIMIT ?",
    "question": "SELECT id, EXISTS (SELECT 1 FROM event WHERE event.id = question.event) FROM question "
    "WHERE id > ? ORDER BY id LIMIT ?",
    "worry": "SELECT event, EXISTS (SELECT 1 FROM event AS raised WHERE raised.id = worry.event) FROM worry "
    "WHERE event > ? ORDER BY event LIMIT ?",
}


class SetupsRepository(Repository):
    """`setup` and `question` rows are lists that a fold can make again."""

    def of_no_event(self, table: str, after: str, most: int) -> tuple[list[str], str | None]:
        """Keys of rows without their event ("setup", "question" or "worry"), from so many rows behind a key;
        the last key of these (None: nothing is behind them).
        """
        rows = self._database.raw(ROWS_OF_EVENTS[table], (after, most))
        return [key for key, is_there in rows if not is_there], rows[-1][0] if len(rows) == most else None

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
        self, *, status: Sequence[str] | None = None, machine: str | None = None, newest: int | None = 500
    ) -> list[SetupRow]:
        """Setups by when they were last heard of, newest first; `newest` None: all of them."""
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
