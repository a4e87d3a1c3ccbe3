"""A setup as the sum of its events: `fold`.

Rules of this module:
- Everything is decided again from what was typed (a lying tablet is seen here).
  What differs from the event's own claim is a problem, and the fold's result counts.
- An event that is not allowed in its state changes nothing and becomes a problem;
  the order of steps is enforced here and not only on the screen (21 CFR 11.10(f), taken as a good list).
- An event that was folded before changes nothing: folding again is the same as folding once.
- Nothing here reads a clock. Decisions of the server are known before the events are looked at.
- `static/js/rules/setup/fold.js` folds the same events to the same result.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Literal, cast

from webapp.domain.evidence.decisions import Decision
from webapp.domain.evidence.event_kinds import KINDS
from webapp.domain.evidence.folded_setup import Folded, Problem
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.setup import company, ends, leaving, notes, photos, steps
from webapp.domain.setup.result import result_of
from webapp.domain.setup.state import AnyEvent, Refused, SetupState
from webapp.domain.setup.touching import by_hand, copying, input_age, square, touches
from webapp.domain.setup.trouble import lifts, troubles, worries

Handler = Callable[[SetupState, Any], None]

# What each kind of event does to a setup; which steps it answers stands beside its name, in `KINDS`.
HANDLERS: Mapping[str, Handler] = {
    "setup.started": ends.start,
    "setup.resumed": notes.resume,
    "caution.read": steps.read_caution,
    "caution.carried": steps.carry_caution,
    "board.checked": steps.check_board,
    "step.done": steps.do_step,
    "checks.ticked": steps.tick_checks,
    "tool.read": steps.read_tool,
    "slot.read": steps.read_slot,
    "values.copied": copying.copy_values,
    "label.read": copying.read_label,
    "slot.cleared": steps.clear_slot,
    "slot.zeroed": copying.zero_row,
    "row.put_back": copying.put_back,
    "trigger.read": by_hand.read_trigger,
    "touch.entered": touches.enter_touch,
    "square.entered": square.enter_square,
    "touch.read_again": touches.read_again,
    "stop.lifted": lifts.lift_stop,
    "axis.given_up": leaving.give_up,
    "touch.repeated": touches.repeat_touch,
    "chip.wiped": touches.wipe_chip,
    "touch.kept": touches.keep_touch,
    "question.put": notes.put_question,
    "worry.raised": worries.raise_worry,
    "hold.pressed": notes.press_hold,
    "photo.taken": photos.take_photo,
    "beside.named": company.name_beside,
    "input.aged": input_age.raise_first,
    "trouble.met": troubles.meet_trouble,
    "step.reopened": notes.reopen,
    "setup.broken_off": notes.break_off,
    "break.explained": notes.explain_break,
    "break.undone": notes.undo_break,
    "setup.left": leaving.leave,
    "setup.left_unsigned": leaving.leave_unsigned,
    "setup.handed_over": leaving.hand_over,
    "setup.taken_over": leaving.take_over,
    "setup.finished": ends.finish,
    "setup.signed": ends.sign,
}
AFTER_FINISH = frozenset({"setup.started", "setup.resumed", "setup.signed", "setup.left_unsigned"})
ONLY_NOTES = frozenset({"hold.pressed", "worry.raised", "question.put"})
# What every event of a setup has in common with its first, and the problem when it has not.
FIXED: tuple[tuple[Literal["setup", "sheet", "person", "device"], str], ...] = (
    ("setup", "setup.other_setup"),
    ("sheet", "setup.other_sheet"),
    ("person", "setup.other_person"),
    ("device", "setup.other_device"),
)


class Fold:
    """A setup that grows by one event or decision at a time, each in constant work."""

    def __init__(self, sheet: WrittenSheet, decisions: Iterable[Decision] = ()) -> None:
        self._state = SetupState(sheet)
        self._seen: set[str] = set()
        for decision in decisions:
            self.decide(decision)

    def apply(self, event: AnyEvent) -> list[Problem]:
        """Take in one event; return the problems that it brought,
        none when all is well or it was seen before.
        """
        state = self._state
        if event["id"] in self._seen:
            return []
        self._seen.add(event["id"])
        before = len(state.problems)
        if event["id"] in state.set_aside:
            state.problems.append({"event": event["id"], **state.set_aside[event["id"]]})
        else:
            self._try(event)
        return state.problems[before:]

    def decide(self, decision: Decision) -> None:
        """Take in one decision of the server about this setup."""
        ends.decide(self._state, decision)

    @property
    def current_step(self) -> str | None:
        """Return the id of the step that comes next, None when none is left."""
        return self._state.current_id

    def result(self) -> Folded:
        """Return what the setup amounts to now, as plain data of its own."""
        return _own_copy(result_of(self._state, self._seen))  # type: ignore[no-any-return]

    def _try(self, event: AnyEvent) -> None:
        try:
            self._take(event)
        except Refused as refused:
            self._state.note(event, refused.code, **refused.fields)

    def _take(self, event: AnyEvent) -> None:
        state = self._state
        if event["type"] != "setup.started":
            _check_belongs(state, event)
        is_noted = event["type"] in ONLY_NOTES and state.may_note
        if state.is_finished and event["type"] not in AFTER_FINISH and not is_noted:
            raise Refused("setup.already_finished", type=event["type"])
        if event["step"] is not None and event["step"] not in state.plan:
            raise Refused("setup.step_unknown", step=event["step"])
        state.count += 1
        answered = KINDS[event["type"]].answers
        if answered:
            _check_answers(state, event, answered)
        HANDLERS[event["type"]](state, event)


def fold(sheet: WrittenSheet, events: Iterable[AnyEvent], decisions: Iterable[Decision] = ()) -> Folded:
    """Return what these events, in the tablet's order, and the server's decisions amount to on this sheet."""
    folded = Fold(sheet, decisions)
    for event in events:
        folded.apply(event)
    return folded.result()


def _own_copy(value: Any) -> Any:
    """Return plain data that shares nothing with the state; several times faster than a general deep copy."""
    if isinstance(value, dict):
        return {name: _own_copy(item) for name, item in value.items()}
    if isinstance(value, list):
        return [_own_copy(item) for item in value]
    return value


def _check_belongs(state: SetupState, event: AnyEvent) -> None:
    if state.setup is None:
        raise Refused("setup.not_started", type=event["type"])
    fixed = {
        "setup": state.setup,
        "sheet": state.sheet_hash,
        "person": state.person,
        "device": state.device,
    }
    for name, code in FIXED:
        if event[name] != fixed[name]:
            raise Refused(code)


def _check_answers(state: SetupState, event: AnyEvent, kinds: tuple[str, ...]) -> None:
    """Raise `Refused` for an answer to another step than the current one, or to one of another kind."""
    step = state.current
    if step is None or event["step"] != step["id"]:
        raise Refused("setup.wrong_step", step=cast("str", event["step"]), current=state.current_id or "")
    if step["kind"] not in kinds:
        raise Refused("setup.wrong_kind", type=event["type"], step=step["id"])
