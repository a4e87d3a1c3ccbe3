"""What a folded setup says, as plain data.

Rules of this module:
- The status comes from what was decided and signed, the values from the touches that stand.
- The lead's word comes before everything else that keeps a step open.
- A sign-off without a verified signature, or by the operator, is listed as a problem.
"""

from __future__ import annotations

from webapp.domain.evidence.folded_setup import Blocked, Folded, NotUsable, Problem, Status
from webapp.domain.evidence.written_sheet import StepOnSheet
from webapp.domain.plain.errors import Fields
from webapp.domain.setup.company import waits_for
from webapp.domain.setup.leaving import may_leave
from webapp.domain.setup.photos import photos_of
from webapp.domain.setup.remarks import remarks_of
from webapp.domain.setup.state import SetupState
from webapp.domain.setup.touching.by_hand import to_enter_nm
from webapp.domain.setup.touching.redo import redo_of, untouched_since
from webapp.domain.setup.touching.touches import keep_reasons, waits_at_compare
from webapp.domain.setup.trouble import stops
from webapp.domain.setup.trouble.troubles import BEFORE_A_TOUCH, search_waits


def result_of(state: SetupState, seen: set[str]) -> Folded:
    """Return the result of the fold; it shares its parts with the state.
    `seen` are the ids of the folded events.
    """
    return {
        "setup": state.setup,
        "sheet": state.sheet_hash,
        "person": state.person,
        "machine": state.machine,
        "started_at_utc": state.started_at_utc,
        "status": _status(state),
        "current_step": state.current_id,
        "blocked": _blocked(state),
        "keep_because": _keep_because(state),
        "probe_in_spindle": state.probe_in_spindle,
        "input_checked_ms": state.input_checked_ms,
        "steps": state.steps,
        "cautions": state.cautions,
        "slot": state.slot,
        "copied": state.copied,
        "touches": state.touches,
        "squares": state.squares,
        "triggers": state.triggers,
        "to_enter_nm": to_enter_nm(state),
        "values_nm": _values_nm(state),
        "holds": state.holds,
        "photos": photos_of(state),
        "beside": state.beside,
        "beside_waits_for": waits_for(state),
        "troubles": state.troubles,
        "lifts": state.lifts,
        "may_touch_again": _may_touch_again(state),
        "may_leave": may_leave(state),
        "copy_waits_for_label": state.copy_waits is not None,
        "put_backs": state.put_backs,
        "zeroed": state.zeroed,
        "not_usable": _not_usable(state),
        "left_unsigned": state.left_unsigned,
        "taken_over": state.taken_over,
        "remarks": remarks_of(state),
        "questions": state.questions,
        "worries": state.worries,
        "corrections": state.corrections,
        "resumes": state.resumes,
        "broken_off": state.broken_off,
        "break_can_be_undone": state.before_break is not None,
        "outcome": state.outcome,
        "signatures": state.signatures,
        "sign_off": state.sign_off,
        "not_accepted": state.not_accepted,
        "redo": redo_of(state),
        "problems": [*state.problems, *_problems_of_decisions(state, seen)],
    }


def _status(state: SetupState) -> Status:
    if state.outcome == "left":
        return "left"
    if state.not_accepted is not None:
        return "not_accepted"
    if state.sign_off is not None:
        return "signed_off"
    if state.signatures and state.signatures[-1]["state"] != "refused":
        return "signed"
    return "finished" if state.is_finished else "running"


def _values_nm(state: SetupState) -> dict[str, int | None]:
    values_nm: dict[str, int | None] = {"X": None, "Y": None, "Z": None}
    for touch in state.touches:
        if touch["kept"]:
            values_nm[touch["axis"]] = touch["value_nm"]
    return values_nm


def _may_touch_again(state: SetupState) -> bool:
    """Tell whether the axis that is being compared may be touched again without the lead."""
    step = state.current
    if step is None or step["kind"] != "compare":
        return False
    return not state.stops_are_the_leads or stops.may_touch_again(state, step["axis"])


def _not_usable(state: SetupState) -> NotUsable | None:
    """Return the slot of a setup that a stop ended,
    its axes, and whether it stands at zero again; else None.
    """
    if not state.given_up:
        return None
    return {"slot": state.slot, "axes": state.given_up, "zeroed": state.zeroed is not None}


def _keep_because(state: SetupState) -> str | None:
    step = state.current
    if step is None or step["kind"] != "compare":
        return None
    return next(iter(keep_reasons(state, step["axis"])), None)


def _blocked(state: SetupState) -> Blocked | None:
    """Return why the current step is still open or what it waits for; the lead's word comes first."""
    step = state.current
    if step is None:
        return None
    if step["kind"] == "finish" and state.broken_off is not None and state.broken_off["reason"] is None:
        return {"code": "setup.break_needs_reason", "fields": {}}
    if step["kind"] == "sign" and state.signatures:
        reason = state.signatures[-1]["refused_because"]
        return {"code": "setup.signature_refused", "fields": {"reason_code": f"signature.{reason}"}}
    return _lead_says(state) or state.blocked or _compare_waits(state, step)


def _compare_waits(state: SetupState, step: StepOnSheet) -> Blocked | None:
    if step["kind"] in BEFORE_A_TOUCH and search_waits(state, step["axis"]):
        return {"code": "setup.search_needs_lead", "fields": {"axis": step["axis"] or ""}}
    return waits_at_compare(state, step["axis"]) if step["kind"] == "compare" else None


def _lead_says(state: SetupState) -> Blocked | None:
    """Return the lead's word that is still to be followed: to break off, or to touch an axis again."""
    if state.broken_off is not None or state.is_finished:
        return None
    for question in state.questions:
        answer = question["answer"]
        if answer is None:
            continue
        if answer["decision"] == "break_off":
            return {"code": "setup.lead_says_break_off", "fields": {"reason": answer["reason"]}}
        if answer["decision"] == "touch_again" and untouched_since(state, question):
            fields: Fields = {"axis": question["axis"] or "", "reason": answer["reason"]}
            return {"code": "setup.lead_says_touch_again", "fields": fields}
    return None


def _problems_of_decisions(state: SetupState, seen: set[str]) -> list[Problem]:
    """Return what is wrong with the server's decisions, looked at together with the events."""
    found: list[Problem] = [
        {"event": event_id, "code": aside["code"], "fields": aside["fields"]}
        for event_id, aside in state.set_aside.items()
        if event_id not in seen
    ]
    for event_id, caution in state.not_found.items():
        found.append({"event": event_id, "code": "setup.caution_not_found", "fields": {"caution": caution}})
    if state.sign_off is not None:
        if not state.signatures or state.signatures[-1]["state"] != "verified":
            found.append({"event": None, "code": "setup.sign_off_unverified", "fields": {}})
        if state.sign_off["by"] == state.person:
            found.append({"event": None, "code": "setup.sign_off_by_operator", "fields": {}})
    return found
