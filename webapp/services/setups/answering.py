"""Questions to the lead, and the answers.

Rules: a question stays open until a lead answers it with a reason; whoever runs a setup does not answer its
questions; of two leads who answer at once, the first counts and the other is told so. A question about an
axis and one about the whole setup have answers of their own, and so has a setup that is finished already:
what can no longer be put into it is done again, and the next sheet, the board and its operator's tablet say
so.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, TypeVar

from webapp.domain.evidence.folded_setup import Touch
from webapp.domain.evidence.written_sheet import UsualOnSheet
from webapp.services.errors import AnsweredAlready, DecisionUnknown, NoSuchQuestion, OwnSetup
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.setups import stored_setups
from webapp.services.setups.at_a_glance import Glance, glance
from webapp.services.times import utc_text
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import QuestionPut, QuestionRow, SetupRow

    class AskedQuestion(QuestionRow):
        """A question and what it is about; touch and usual are those of its axis, None without one."""

        setup_row: SetupRow
        person_name: str
        machine_name: str
        unit: str
        decimals: int
        touch: Touch | None
        usual: UsualOnSheet | None
        glance: Glance


# A touch of the fold, or one with more beside it.
AnyTouch = TypeVar("AnyTouch", bound=Touch)
RUNNING = "running"


def decisions_for(axis: str | None, status: str) -> tuple[str, ...]:
    """The answers to a question about an axis or (None) a whole setup, by where the setup stands."""
    if status == RUNNING:
        return ("go_on", "touch_again", "break_off") if axis else ("go_on", "break_off")
    return ("go_on", "touch_again") if axis else ("go_on", "redo")


def questions(store: Store, *, only_open: bool = True) -> list[AskedQuestion]:
    """Questions, oldest first, each with its setup's row, the person's name and the arithmetic of its axis.

    "touch" is the axis' last touch before the question as the fold has it,
    "usual" the axis' lines on the setup's sheet; None without an axis.
    """
    with store.reading():
        names = store.people.names()
        return [_with_arithmetic(store, row, names) for row in store.setups.questions(only_open=only_open)]


def question(store: Store, question_id: str) -> QuestionRow | None:
    """One question and its answer, or None."""
    with store.reading():
        return store.setups.question(question_id)


def open_questions(store: Store) -> int:
    """How many questions wait for an answer."""
    with store.reading():
        return len(store.setups.questions(only_open=True))


def answer(store: Store, question_id: str, by: str, decision: str, reason: str, now: datetime) -> None:
    """Answer an open question with one of `decisions_for` its axis and its setup.

    Raises NoSuchQuestion, RoleMissing, OwnSetup, DecisionUnknown, ReasonMissing, AnsweredAlready.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        question = store.setups.question(question_id)
        if question is None:
            raise NoSuchQuestion(question=question_id)
        setup = store.setups.setup(question["setup"])
        status = setup["status"] if setup is not None else RUNNING
        if decision not in decisions_for(question["axis"], status):
            raise DecisionUnknown(decision=decision[:40])
        if setup is not None and setup["person"] == by:
            raise OwnSetup
        if not store.setups.answer_question(question_id, by, decision, reason, utc_text(now)):
            raise AnsweredAlready(by=question["answered_by"] or "", at_utc=question["answered_at_utc"] or "")
        data = {"question": question_id, "axis": question["axis"], "decision": decision, "reason": reason}
        change(store, "question.answered", by, question_id, question["setup"], data, now)
        stored_setups.refresh(store, question["setup"])


def touch_asked_about(question: QuestionPut, touches: Sequence[AnyTouch]) -> AnyTouch | None:
    """The touch that stood when the question was put: its axis' last one by then, whatever was touched later.

    None for a question about no axis.
    Times are the tablet's own; the axis' first touch where its clock went back.
    """
    of_axis = [touch for touch in touches if touch["axis"] == question["axis"]]
    by_then = [touch for touch in of_axis if touch["at_utc"] <= question["at_utc"]]
    return next(iter(by_then[-1:] or of_axis[:1]), None)


def _with_arithmetic(store: Store, row: QuestionRow, names: dict[str, str]) -> AskedQuestion:
    setup = store.setups.setup(row["setup"])
    if setup is None:
        raise LookupError(f"question {row['id']} names a setup that is not listed")
    sheet = stored_setups.sheet_of(store, setup["sheet"])
    state = stored_setups.fold_stored(store, row["setup"])
    touch = touch_asked_about(row, state["touches"])
    lines = next((axis for axis in sheet["axes"] if axis["axis"] == row["axis"]), None)
    return {
        **row,
        "setup_row": setup,
        "person_name": names.get(setup["person"], setup["person"]),
        "machine_name": sheet["machine"]["name"],
        "unit": sheet["machine"]["unit"],
        "decimals": sheet["machine"]["decimals"],
        "touch": touch,
        "usual": lines["usual"] if lines else None,
        "glance": glance(sheet, state),
    }
