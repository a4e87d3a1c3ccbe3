"""Whether a lead wants a finished setup done again, and in which words.

Rules of this module:
- A setup that was not accepted is to be done again, and so is a finished one whose question was answered with
  "touch again", "redo" or "break off", as long as it is not signed off: nothing can be put into it any more.
- "Touch again" is done with once the axis was searched again after the question,
  unless the answer came after the end: the lead had seen the last touch then.
- Of several answers the last one counts. `static/js/rules/setup/touching/redo.js` does the same in the
  browser.
"""

from __future__ import annotations

from webapp.domain.evidence.folded_setup import Answered, Question, Redo
from webapp.domain.setup.state import SetupState

AGAIN = ("touch_again", "redo", "break_off")


def redo_of(state: SetupState) -> Redo | None:
    """Return why, about which axis (None:
    all of it), in which words and by whom a setup is to be done again.
    """
    refused = state.not_accepted
    if refused is not None:
        return _said("not_accepted", None, refused["reason"], refused["by"], refused["at_utc"])
    if not state.is_finished or state.sign_off is not None or state.broken_off is not None:
        return None
    for question in reversed(state.questions):
        answer = question["answer"]
        if answer is not None and answer["decision"] in AGAIN and _holds(state, question, answer):
            return _said(
                answer["decision"], question["axis"], answer["reason"], answer["by"], answer["at_utc"]
            )
    return None


def _said(why: str, axis: str | None, reason: str, by: str, at_utc: str) -> Redo:
    return {"why": why, "axis": axis, "reason": reason, "by": by, "at_utc": at_utc}


def _holds(state: SetupState, question: Question, answer: Answered) -> bool:
    answered_after = answer["at_utc"] > _finished_at_utc(state)
    return answer["decision"] != "touch_again" or answered_after or untouched_since(state, question)


def _finished_at_utc(state: SetupState) -> str:
    times = [
        found["at_utc"] for step_id, found in state.steps.items() if state.plan[step_id]["kind"] == "finish"
    ]
    return max((at_utc for at_utc in times if at_utc is not None), default="")


def untouched_since(state: SetupState, question: Question) -> bool:
    """Tell whether the question's axis has not been searched again since the question was put."""
    if question["axis"] is None:
        return False
    return state.searched_at.get(question["axis"], 0) < state.question_order[question["question"]]
