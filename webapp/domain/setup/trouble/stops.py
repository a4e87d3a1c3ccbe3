"""What may stand after a stop, from the sheet's second format on.

Rules of this module:
- A value past a line is read a second time, without seeing what was read first. Both readings stay;
  where they differ the value stays a question until the lead has seen both, whatever it agrees with.
- After a stop the axis may be touched again once. A new touch that agrees goes on. A second stop is the
  lead's, whatever it agrees with, and so is a third touch: by the answer to a question, or by the lead's own
  PIN once the server has verified it. A stop is counted by its readings: one taken back by a second reading
  was one.
- A value that has nothing to be compared with is a first value, as under the first format.
- Where the lead says "touch again", counting begins anew.
- `static/js/rules/setup/trouble/stops.js` does the same in the browser.
"""

from __future__ import annotations

from webapp.domain.evidence.folded_setup import Lift, Question, Touch
from webapp.domain.setup.state import SetupState

Readings = list[Touch]
WAY = frozenset({"over", "lower", "search", "touch"})


def readings(state: SetupState, axis: str | None, searched_at: int) -> Readings:
    """Return what was read of the touch of one search, in order."""
    return [
        touch
        for touch, note in zip(state.touches, state.touch_notes, strict=True)
        if touch["axis"] == axis and note.searched_at == searched_at
    ]


def keep_reasons(state: SetupState, axis: str | None) -> list[str]:
    """Return the reasons for which the axis' last touch may be kept now, the plainest first."""
    waits = waits_for(state, axis)
    if waits is not None:
        return []
    runs = _runs(state, axis)
    if is_the_leads(runs):
        return ["lead"]
    if _is_first(state, runs[-1]):
        return ["first", "question"] if _is_asked(state, axis) else ["first"]
    return ["agrees"] if _is_plain(state, runs[-1]) else ["question"]


def waits_for(state: SetupState, axis: str | None) -> str | None:
    """Return what the axis' last touch waits for, None when it may be kept:
    "reading", "question" or "lead".
    """
    runs = _runs(state, axis)
    if not runs:
        return "question"
    if _must_be_read_again(state, runs[-1]):
        return "reading"
    covered_from = state.touch_notes[state.last_touch(axis) or 0].covered_from
    if is_the_leads(runs):
        return None if _lead_says(state, axis, "go_on", covered_from) else "lead"
    if _is_plain(state, runs[-1]) or _is_first(state, runs[-1]):
        return None
    return None if _is_asked(state, axis) else "question"


def _is_asked(state: SetupState, axis: str | None) -> bool:
    """Tell whether a question about the axis was put since its last touch."""
    covered_from = state.touch_notes[state.last_touch(axis) or 0].covered_from
    return any(
        question["axis"] == axis and state.question_order[question["question"]] > covered_from
        for question in state.questions
    )


def is_the_leads(runs: list[Readings]) -> bool:
    """Tell whether the last touch stands only with the lead's word."""
    place = _first_stop(runs)
    if place is None:
        return False
    behind = len(runs) - 1 - place
    return runs[-1][-1]["verdict"] == "stop" or behind > 1 or (behind == 1 and _has_stop(runs[-1]))


def may_touch_again(state: SetupState, axis: str | None) -> bool:
    """Tell whether the axis may be searched and touched once more without the lead."""
    runs = _runs(state, axis)
    place = _first_stop(runs)
    return place is None or place == len(runs) - 1


def way_to_touch(state: SetupState, axis: str | None) -> list[str]:
    """Return the steps of the axis' stage that lead to its touch anew: over, lowered, searched, touched.

    What comes before a look for square belongs to that.
    """
    own = [step for step in state.plan.values() if step["axis"] == axis]
    kinds = [step["kind"] for step in own]
    after = kinds.index("square") + 1 if "square" in kinds else 0
    return [step["id"] for step in own[after:] if step["kind"] in WAY]


def _runs(state: SetupState, axis: str | None) -> list[Readings]:
    """Return the axis' touches since the lead last said "touch again", each as its readings."""
    since = max(
        (
            *(
                state.question_order[question["question"]]
                for question in state.questions
                if question["axis"] == axis and _answer_to(question) == "touch_again"
            ),
            *(state.lift_order[lift["event"]] for lift in _lifts(state, axis, "touch_again")),
        ),
        default=-1,
    )
    searches: dict[int, Readings] = {}
    for touch, note in zip(state.touches, state.touch_notes, strict=True):
        if touch["axis"] == axis and note.searched_at > since:
            searches.setdefault(note.searched_at, []).append(touch)
    return list(searches.values())


def _lead_says(state: SetupState, axis: str | None, decision: str, after: int) -> bool:
    """Tell whether the lead answered so, at the desk or by a PIN that was verified, to what came after that
    count.
    """
    answered = any(
        question["axis"] == axis
        and state.question_order[question["question"]] > after
        and _answer_to(question) == decision
        for question in state.questions
    )
    return answered or any(state.lift_order[lift["event"]] > after for lift in _lifts(state, axis, decision))


def lead_spoke_at(state: SetupState, axis: str | None) -> int:
    """Return the count at the last question about the axis that the lead answered,
    or lift that was verified; else -1.
    """
    spoken = [
        state.question_order[question["question"]]
        for question in state.questions
        if question["axis"] == axis and _answer_to(question) in {"go_on", "touch_again"}
    ]
    lifted = [
        state.lift_order[lift["event"]]
        for lift in state.lifts
        if lift["axis"] == axis and lift["state"] == "verified"
    ]
    return max((*spoken, *lifted), default=-1)


def _answer_to(question: Question) -> str | None:
    return None if question["answer"] is None else question["answer"]["decision"]


def _lifts(state: SetupState, axis: str | None, decision: str) -> list[Lift]:
    return [
        lift
        for lift in state.lifts
        if lift["axis"] == axis and lift["decision"] == decision and lift["state"] == "verified"
    ]


def _first_stop(runs: list[Readings]) -> int | None:
    return next((place for place, one in enumerate(runs) if _has_stop(one)), None)


def _has_stop(one: Readings) -> bool:
    return any(touch["verdict"] == "stop" for touch in one)


def _must_be_read_again(state: SetupState, one: Readings) -> bool:
    """Tell whether one reading alone lies past a line, or is not what was to be entered by hand.

    Where nothing is known yet there is no line.
    """
    last = one[-1]
    past = last["verdict"] != "agrees" and last["difference_nm"] is not None
    past = past or last["event"] in state.entered_otherwise
    return past and len(one) == 1 and last["read_again"] is None


def _is_plain(state: SetupState, one: Readings) -> bool:
    """Tell whether the touch agrees and was read as one value only, the one that was to be entered."""
    return one[-1]["verdict"] == "agrees" and _is_one_value(state, one)


def _is_one_value(state: SetupState, one: Readings) -> bool:
    same = len({touch["value_nm"] for touch in one}) == 1
    return same and not any(touch["event"] in state.entered_otherwise for touch in one)


def _is_first(state: SetupState, one: Readings) -> bool:
    """Tell whether there is nothing to compare with yet,
    and one value was read, the one that was to be entered.
    """
    return one[-1]["difference_nm"] is None and _is_one_value(state, one)
