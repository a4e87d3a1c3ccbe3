"""What a record's page says, as plain data:
every number as text in the machine's unit, every sentence as a code.

Rules of this module:
- The page is a pure function of the bundle:
  the setup is folded again from its events, nothing is taken on trust from a summary.
- Each human signature comes with full name, role, time with offset, meaning and state (21 CFR 11.50, taken as
  a good list). A record is final only when the operator's signature is verified and the lead has signed off.
- What was skipped, asked, held, corrected or answered otherwise stands on the page, and so does every problem
  of the fold; earlier values are not hidden (ISO/IEC 17025:2017 7.5.2, from memory).
- Times are UTC; with a date the shop's own time stands behind them.
  Inside tables the date is left out where it is the day the setup started.
"""

from __future__ import annotations

from hashlib import sha256
from typing import Any

from webapp.domain.causes.of_setup import causes_of_touch
from webapp.domain.evidence.folded_setup import Folded, Signature, SignOff
from webapp.domain.evidence.for_whom import stages_for
from webapp.domain.evidence.reviewed import fits
from webapp.domain.evidence.written_sheet import AxisOnSheet, WrittenSheet
from webapp.domain.plain.errors import DomainError, Fields, Finding
from webapp.domain.plain.lengths import Display, format_length, format_other_unit
from webapp.domain.plain.zones import local_by_offsets
from webapp.domain.record.bundle import PersonInRecord, RecordBundle, RecordFile
from webapp.domain.record.not_plain import not_plain
from webapp.domain.record.numbers import authorised, fast, pace, planned_search, probe_check, squares
from webapp.domain.record.rows import (
    CautionRow,
    CheckRow,
    CopiedRow,
    FileRow,
    Plate,
    Proof,
    RecordFacts,
    ScaleStage,
    SignatureRow,
    TouchRow,
    UsualRow,
)
from webapp.domain.record.story import Story, happenings
from webapp.domain.setup.fold import fold
from webapp.domain.setup.steps import is_practised
from webapp.domain.setup.touching.half_set import missing_axes, not_usable_axes
from webapp.domain.touch.compare import display_of

VERDICT_SIGNS = {"agrees": "=", "ask": "?", "stop": "×"}
SHORTENED_HEX = 16
MOST_FAST = 2
ANSWERED_KINDS = ("board", "checks", "tool_in", "slot", "clear", "tool_out", "zero")


class RecordNotFinalError(DomainError):
    """The setup is not signed off, so its record cannot be final."""

    code = "record.not_final"
    field_names = ("status_code",)


def record_facts(bundle: RecordBundle, final: bool) -> RecordFacts:
    """Return the facts of this record. With `final` raises `RecordNotFinalError` unless the setup is signed
    off after a verified signature and the bundle says when it is sealed and on which ledger. Raises what
    reading the files raises.
    """
    sheet, events, decisions = bundle.sheet(), bundle.decoded_events(), bundle.decoded_decisions()
    state = fold(sheet, events, decisions)
    record = bundle.record
    if final:
        _check_final(state, record)
    story = Story(sheet, {event["id"]: event for event in events}, state, _people(record))
    display = display_of(sheet["machine"])
    ended = story.time_of_type("setup.finished")
    marked = fast(record, story)
    return RecordFacts(
        shop=record["shop"],
        notice=sheet["shop"]["notice"],
        machine=sheet["machine"]["name"],
        machine_id=sheet["machine"]["id"],
        unit=display.unit.value,
        fixture=sheet["fixture"]["name"],
        seating_since=whole_time(sheet["fixture"]["seating"]["since_utc"]),
        probe=sheet["probe"]["name"],
        ball=f"{format_length(sheet['probe']['ball_diameter_nm'], display, sign=False)} {display.unit.value}",
        slot=state["slot"],
        operator=story.name_of(state["person"]),
        authorised=authorised(story),
        machine_serial=sheet["machine"].get("serial", ""),
        probe_serial=sheet["probe"].get("serial", ""),
        not_plain=not_plain(story),
        tablets=tuple(device["name"] or device["id"] for device in bundle.devices),
        procedure=sheet["procedure"]["title"],
        revision=grouped(sheet["procedure"]["revision"][:8]),
        setup=record["setup"],
        started="–" if state["started_at_utc"] is None else whole_time(state["started_at_utc"], sheet),
        ended=None if ended is None else whole_time(ended, sheet),
        sealed=None if record["sealed_at_utc"] is None else whole_time(record["sealed_at_utc"], sheet),
        status=_status(state, final),
        outcome=_outcome(state),
        scale=_scale(sheet, state),
        plates=tuple(_plate(axis, state, display) for axis in sheet["axes"]),
        half_set=_half_set(sheet, state),
        touches=tuple(_touch(place, story, display) for place in range(len(state["touches"]))),
        usuals=tuple(_usual(axis, display) for axis in sheet["axes"]),
        squares=squares(story),
        probe_check=probe_check(story),
        pace=pace(record),
        fast=marked[:MOST_FAST],
        fast_more=Finding("record.pace_more", {"more": len(marked) - MOST_FAST})
        if len(marked) > MOST_FAST
        else None,
        copied=_copied(story),
        cautions=_cautions(story),
        checks=_checks(story),
        happenings=happenings(story),
        signatures=_signatures(story, bundle),
        drawings=tuple((axis["search_label"], axis["drawing"]) for axis in sheet["axes"]),
        proof=_proof(bundle),
    )


def grouped(text: str, size: int = 4) -> str:
    """Return the text in groups of four, with a blank between them."""
    return " ".join(text[place : place + size] for place in range(0, len(text), size))


def whole_time(at_utc: str, sheet: WrittenSheet | None = None) -> str:
    """Return date, time to the second and offset, such as "2026-11-25 08:03:12 +00:00";
    behind it in brackets the shop's own time, where the sheet carries its offsets.
    """
    local = None if sheet is None else local_by_offsets(at_utc, sheet["shop"].get("offsets", ()))
    beside = "" if local is None else f" ({local})"
    return f"{at_utc[:10]} {at_utc[11:19]} +00:00{beside}"


def _check_final(state: Folded, record: RecordFile) -> None:
    signed = state["signatures"] and state["signatures"][-1]["state"] == "verified"
    if state["status"] != "signed_off" or not signed:
        raise RecordNotFinalError(status_code=f"record.status_{state['status']}")
    if record["sealed_at_utc"] is None or record["ledger"] is None:
        raise RecordNotFinalError(status_code="record.status_not_on_ledger")


def _people(record: RecordFile) -> dict[str, PersonInRecord]:
    return {person["id"]: person for person in record["people"]}


def _status(state: Folded, final: bool) -> Finding:
    unsealed = state["status"] == "signed_off" and not final
    return Finding("record.status_not_on_ledger" if unsealed else f"record.status_{state['status']}")


def _outcome(state: Folded) -> Finding:
    return Finding(f"record.outcome_{state['outcome'] or 'unfinished'}")


def _scale(sheet: WrittenSheet, state: Folded) -> tuple[ScaleStage, ...]:
    stages = []
    for stage in stages_for(sheet, state["person"]):
        states = tuple(state["steps"][step["id"]]["state"] for step in stage["steps"])
        kinds = set(states)
        whole = states[0] if len(kinds) == 1 else "part"
        stages.append(ScaleStage(stage["short"], stage["title"], whole, states))
    return tuple(stages)


def _plate(axis: AxisOnSheet, state: Folded, display: Display) -> Plate:
    touch = next(
        (one for one in reversed(state["touches"]) if one["axis"] == axis["axis"] and one["kept"]), None
    )
    if touch is None:
        return Plate(axis["axis"], None, None, "–", Finding("record.no_value"))
    value_nm, verdict = touch["value_nm"], touch["verdict"]
    sign, words = VERDICT_SIGNS[verdict], Finding(f"record.verdict_{verdict}")
    return Plate(
        axis["axis"], format_length(value_nm, display), format_other_unit(value_nm, display), sign, words
    )


def _half_set(sheet: WrittenSheet, state: Folded) -> Finding | None:
    """Return the sentence about a slot that this setup left without all its values;
    not while it still runs.
    """
    is_left = state["status"] != "running" or state["broken_off"] is not None
    missing = missing_axes(sheet, state) if is_left else ()
    if not missing:
        return None
    stopped = not_usable_axes(state)
    kind = "not_usable" if stopped else "half_set"
    return Finding(f"record.{kind}", {"slot": state["slot"] or "–", "axes": ", ".join(stopped or missing)})


def _touch(place: int, story: Story, display: Display) -> TouchRow:
    touch = story.state["touches"][place]
    usual = story.axis(touch["axis"])["usual"]
    centre_nm = usual["centre_nm"]
    lines = [None if centre_nm is None else usual[name] for name in ("ask_nm", "stop_nm")]
    ask_line, stop_line = (
        None if nm is None else f"±{format_length(nm, display, sign=False)}" for nm in lines
    )
    kept = f"record.kept_{touch['because']}" if touch["kept"] else "record.not_kept"
    difference_nm = touch["difference_nm"]
    return TouchRow(
        axis=touch["axis"],
        at=story.clock(touch["at_utc"]),
        typed=touch["typed"],
        usual=None if centre_nm is None else format_length(centre_nm, display),
        difference=None if difference_nm is None else format_length(difference_nm, display),
        ask_line=ask_line,
        stop_line=stop_line,
        sign=VERDICT_SIGNS[touch["verdict"]],
        verdict=Finding(f"record.verdict_{touch['verdict']}"),
        kept=Finding(kept),
        causes=_causes(place, story),
    )


def _causes(place: int, story: Story) -> tuple[Finding, ...] | None:
    """Return the sentences of what was named for a touch, or the one that says that nothing was."""
    named = causes_of_touch(story.sheet, story.state, place)
    if named is None:
        return None
    return tuple(Finding(one.code, one.says["fields"]) for one in named) or (Finding("cause.none"),)


def _usual(axis: AxisOnSheet, display: Display) -> UsualRow:
    usual = axis["usual"]
    planned = planned_search(axis, display)
    fields: Fields = {"face_code": f"record.face_{axis['face']}"}
    if usual["centre_nm"] is None:
        return UsualRow(axis["search_label"], Finding("record.usual_none", fields), planned)
    counts: Fields = {"values": usual["values"], "seatings": usual["seatings"]}
    return UsualRow(axis["search_label"], Finding("record.usual_from", fields | counts), planned)


def _copied(story: Story) -> tuple[CopiedRow, ...]:
    copied = story.state["copied"]
    if copied is None:
        return ()
    typed = story.events[copied["event"]]["data"]["typed"]
    return tuple(
        CopiedRow(axis, typed[axis], Finding(f"record.compared_{copied['compared'][axis]}"))
        for axis in ("X", "Y", "Z")
    )


def _cautions(story: Story) -> tuple[CautionRow, ...]:
    """Return every caution of the sheet, with the time it was read, None where it was not."""
    read = {caution["caution"]: caution["read_at_utc"] for caution in story.state["cautions"]}
    rows = []
    for step in story.steps.values():
        caution = step["caution"]
        if caution is not None:
            at_utc = read.get(caution["id"])
            at = None if at_utc is None else story.clock(at_utc)
            rows.append(CautionRow(caution["signal"], caution["hazard"], at))
    return tuple(rows)


def _checks(story: Story) -> tuple[CheckRow, ...]:
    """Return what closed each step that is answered with something seen.
    Whom a step asked nothing said nothing.
    """
    rows = []
    for step_id, found in story.state["steps"].items():
        step = story.steps[step_id]
        if found["state"] == "done" and (step["kind"] in ANSWERED_KINDS or step["choices"]):
            event = story.events[found["event"] or ""]
            if not is_practised(story.sheet, step, event["person"]):
                rows.append(CheckRow(story.do(step_id), story.answer(event), story.clock(event["at_utc"])))
    return tuple(rows)


def _signatures(story: Story, bundle: RecordBundle) -> tuple[SignatureRow, ...]:
    rows = [
        SignatureRow(
            name=story.name_of(signature["person"]),
            roles=(Finding("record.role_operator"),),
            meaning=Finding("record.meaning_performed"),
            at=whole_time(signature["at_utc"], story.sheet),
            state=_signature_state(signature),
            event=grouped(signature["event"][:SHORTENED_HEX]),
            note="",
        )
        for signature in story.state["signatures"]
    ]
    sign_off = story.state["sign_off"]
    if sign_off is not None:
        rows.append(_sign_off_row(sign_off, story, bundle))
    return tuple(rows)


def _signature_state(signature: Signature) -> Finding:
    if signature["state"] == "refused":
        return Finding(
            "record.signature_refused", {"reason_code": f"record.refused_{signature['refused_because']}"}
        )
    return Finding(f"record.signature_{signature['state']}")


def _sign_off_row(sign_off: SignOff, story: Story, bundle: RecordBundle) -> SignatureRow:
    """Return the lead's signature; its identifier is the hash of the decision's text."""
    decided = list(zip(bundle.decisions, bundle.decoded_decisions(), strict=True))
    place = next(
        place for place, (_, decision) in enumerate(decided) if decision["type"] == "setup.signed_off"
    )
    text = decided[place][0]
    listed = story.people.get(sign_off["by"])
    roles = ["lead"] if listed is None else listed["roles"]
    return SignatureRow(
        name=story.name_of(sign_off["by"]),
        roles=tuple(Finding(f"record.role_{role}") for role in roles),
        meaning=Finding("record.meaning_accepted"),
        at=whole_time(sign_off["at_utc"], story.sheet),
        state=Finding("record.signature_on_ledger"),
        event=grouped(sha256(text.encode("utf-8")).hexdigest()[:SHORTENED_HEX]),
        note=sign_off["note"],
        read=_read(sign_off["reviewed"], story, bundle, place),
    )


def _read(claim: Any, story: Story, bundle: RecordBundle, place: int) -> Finding:
    """Return over what the lead signed, worked out again from the events and from the decisions before this
    one.
    """
    if claim is None:
        return Finding("record.read_not_said")
    sheet_hash = sha256(bundle.sheet_text.encode("utf-8")).hexdigest()
    ids = list(story.events)
    if not fits(claim, bundle.record["setup"], sheet_hash, ids, bundle.decisions[:place]):
        return Finding("record.read_differs")
    fields: Fields = {"events": claim["events"], "print": grouped(claim["sha256"][:SHORTENED_HEX])}
    later = len(ids) - claim["events"]
    return (
        Finding("record.read_and_later", {**fields, "later": later})
        if later
        else Finding("record.read_all", fields)
    )


def _proof(bundle: RecordBundle) -> Proof:
    ledger = bundle.record["ledger"]
    return Proof(
        files=tuple(
            FileRow(name, grouped(sha256(data).hexdigest())) for name, data in bundle.files().items()
        ),
        ledger_size=None if ledger is None else ledger["size"],
        ledger_root=None if ledger is None else grouped(ledger["root"]),
        renderer=bundle.record["renderer"],
    )
