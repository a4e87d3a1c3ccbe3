"""What a record's page says, worked out from the bundle alone."""

import json
from dataclasses import replace

import pytest

from tests.record.made_up import MM, TALES, Tale, asked, broken_off, inch_machine, made_sheet, normal, stopped
from webapp.domain.plain.errors import Finding
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.record.facts import RecordNotFinalError, grouped, record_facts, whole_time
from webapp.words import say


def said(findings: list[Finding]) -> list[str]:
    return [say(finding.code, finding.fields) for finding in findings]


def test_the_plates_carry_sign_unit_and_the_other_unit() -> None:
    facts = record_facts(normal().bundle(), final=True)
    assert facts.unit == "mm"
    assert [(one.axis, one.value, one.other, one.sign) for one in facts.plates] == [
        ("X", "−413.338", "−16.2731 in", "="),
        ("Y", "−202.110", "−7.9571 in", "="),
        ("Z", "−318.401", "−12.5355 in", "="),
    ]


def test_an_inch_machine_s_record_is_in_inches() -> None:
    facts = record_facts(inch_machine().bundle(), final=True)
    assert facts.unit == "in"
    assert facts.plates[0].value == "−16.2732"
    assert facts.plates[0].other == "−413.339 mm"
    assert facts.touches[0].ask_line == "±0.0012"


def test_a_touch_stands_beside_its_usual_and_its_lines() -> None:
    touch = record_facts(asked().bundle(), final=True).touches[1]
    assert (touch.typed, touch.usual, touch.difference) == ("-202.080", "−202.118", "+0.038")
    assert (touch.ask_line, touch.stop_line, touch.sign) == ("±0.031", "±0.045", "?")
    assert said([touch.verdict, touch.kept]) == ["ask", "kept: a question was put"]


def test_a_first_value_has_no_lines_and_says_so() -> None:
    sheet = made_sheet()
    sheet["axes"][0]["usual"] = {
        "centre_nm": None,
        "ask_nm": None,
        "stop_nm": None,
        "values": 0,
        "seatings": 0,
        "reasons": [],
    }
    tale = Tale(sheet)
    tale.start()
    tale.walk(until="x.compare")
    facts = record_facts(tale.bundle(sealed=False), final=False)
    touch = facts.touches[0]
    assert (touch.usual, touch.difference, touch.ask_line, touch.stop_line) == (None, None, None, None)
    assert said([facts.usuals[0].stands_on]) == ["left end: no usual yet for this seating"]


def planned(axis: str, above_nm: int, inches: bool = False) -> str:
    sheet = made_sheet(inches=inches)
    feeds = {"first_feed_text": "900 mm/min", "fine_feed_text": "60 mm/min"}
    stand = {"stand_low_nm": -421_666_000, "stand_high_nm": -417_316_000, "stand_above_ball_nm": above_nm}
    plan = {**sheet["axes"][0]["approach"], **feeds, **stand}
    next(one for one in sheet["axes"] if one["axis"] == axis)["approach"] = plan
    tale = Tale(sheet)
    tale.start()
    facts = record_facts(tale.bundle(sealed=False), final=False)
    (text,) = said([one.planned for one in facts.usuals if one.planned is not None])
    return text


def test_a_planned_search_says_which_point_its_coordinates_are_of() -> None:
    assert planned("X", 0) == (
        "Start at machine X −421.666 to −417.316 mm, the spindle line. Range 6.350 mm, feeds 900, then 60 "
        "mm/min."
    )
    assert "the ball's centre, probe's length counted in" in planned("Z", 0)
    assert "the spindle's gauge line, 5.9055 in above the ball's centre" in planned(
        "Z", 150 * MM, inches=True
    )


def test_a_sheet_that_does_not_say_which_point_it_means_has_no_planned_search() -> None:
    facts = record_facts(asked().bundle(), final=True)
    assert [one.planned for one in facts.usuals] == [None, None, None]


def test_both_values_of_a_repeated_touch_are_shown() -> None:
    facts = record_facts(stopped().bundle(), final=True)
    assert [(one.typed, one.sign) for one in facts.touches if one.axis == "X"] == [
        ("-410.324", "×"), ("-413.338", "="), ("-413.338", "="),
    ]  # fmt: skip
    kept = [one for one in facts.touches if one.axis == "X" and one.kept.code != "record.not_kept"]
    assert len(kept) == 1


def test_an_odd_touch_says_what_was_named_as_likely() -> None:
    odd, right = record_facts(stopped().bundle(), final=True).touches[:2]
    assert said(list(odd.causes or ())) == [
        "The ball's radius of 3.000 mm may have been added twice, or the diameter in its place.",
        "One digit may be wrong.",
    ]
    assert right.causes is None
    asked_about = record_facts(asked().bundle(), final=True).touches[1]
    assert said(list(asked_about.causes or ()))[0].startswith("No known mistake gives this value.")


def test_a_record_on_a_sheet_from_before_causes_names_none() -> None:
    sheet = made_sheet()
    for axis in sheet["axes"]:
        del axis["causes"]
    tale = Tale(sheet)
    tale.start()
    tale.walk(until="x.touch")
    tale.touch("X", "-410.324")
    assert record_facts(tale.bundle(sealed=False), final=False).touches[0].causes is None


def test_the_scale_shows_what_was_done_and_what_was_skipped() -> None:
    scale = {stage.short: stage for stage in record_facts(broken_off().bundle(), final=True).scale}
    assert scale["vise"].state == "done"
    assert scale["X"].state == "part"
    assert scale["X"].steps == ("done", "done", "done", "done", "skipped")
    assert scale["Y"].state == "skipped"
    assert scale["stow"].state == "done"


def test_old_values_are_shown_as_typed_with_how_they_compared() -> None:
    copied = record_facts(normal().bundle(), final=True).copied
    assert [(one.axis, one.typed) for one in copied] == [
        ("X", "-413.340"),
        ("Y", "-202.190"),
        ("Z", "-318.399"),
    ]
    assert said([one.compared for one in copied]) == [
        "as last seen",
        "changed since last seen",
        "as last seen",
    ]


def test_what_happened_on_the_way_stands_in_order_of_time() -> None:
    lines = record_facts(asked().bundle(), final=True).happenings
    assert [line.at for line in lines] == sorted(line.at for line in lines)
    assert said([line.what for line in lines]) == [
        "Read tool 3, which is not the one asked for. The step stayed open.",
        "Something is off: the machine looks wrong.",
        "A question about Y was put to the lead.",
        "Okko Brandt answered about Y: go on.",
        "The setup was taken up again. Minutes away: 13.",
    ]
    assert lines[2].text == "Vise was bumped by the pallet truck?"
    assert lines[2].where == "Touch in Y"


def test_a_picture_is_told_by_its_hash_and_by_what_came_of_it() -> None:
    tale = Tale()
    tale.start()
    tale.walk(until="vise.wipe")
    sent = {"bytes": 150_000, "width": 1280, "height": 960}
    events = [tale.tell("photo.taken", "vise.wipe", sha256=digit * 64, **sent) for digit in "abc"]
    kept = {"sha256": "e" * 64, "bytes": 140_000, "width": 1280, "height": 960}
    tale.decide("photo.kept", "server", event=events[0], sent_sha256="a" * 64, **kept)
    refused = {"code": "picture.not_jpeg", "fields": {}}
    tale.decide("photo.refused", "server", event=events[1], sent_sha256="b" * 64, **refused)
    lines = [one.what for one in record_facts(tale.bundle(sealed=False), final=False).happenings]
    assert [one.code for one in lines] == ["record.photo_kept", "record.photo_refused", "record.photo"]
    first, second, third = said(lines)
    assert all(part in first for part in ("The vise as found", "150000", "a" * 64, "e" * 64))
    assert "b" * 64 in second
    assert "because the file that came is no JPEG picture" in second
    assert "c" * 64 in third
    assert "not arrived" in third


def test_a_hold_a_correction_and_a_break_are_told() -> None:
    holds = record_facts(normal().bundle(), final=True).happenings
    corrections = record_facts(stopped().bundle(), final=True).happenings
    breaks = record_facts(broken_off().bundle(), final=True).happenings
    assert said([one.what for one in holds]) == ["Feed hold was pressed."]
    assert [one.text for one in corrections] == ["Range was set to the wrong value."]
    assert said([one.what for one in breaks]) == [
        "Broken off here: a value was beyond the stop line.",
        "Skipped in “Touch in X”: 1 of 5 steps.",
        "Skipped in “Touch in Y”: 5 of 5 steps.",
        "Skipped in “Touch in Z”: 4 of 4 steps.",
    ]
    assert breaks[0].text == "The jaw's end has a dent."


def test_answers_that_kept_a_step_open_are_told() -> None:
    tale = Tale()
    tale.start()
    tale.walk(until="ready.board")
    tale.tell("board.checked", "ready.board", found="something_else", text="A wrench lies on the table.")
    tale.walk(until="slot.own", after="ready.probe")
    tale.tell("slot.read", "slot.own", typed="G55", outcome="somebody_elses")
    tale.walk(until="clear.values", after="probe.modes")
    zero_but_one = {"X": "0", "Y": "-1.5", "Z": "0"}
    tale.tell("slot.cleared", "clear.values", typed=zero_but_one, values_nm={"X": 0, "Y": -1_500_000, "Z": 0})
    tale.walk(until="stow.gone", after="copy.values")
    tale.tell("step.done", "stow.gone", answer="still_there")
    lines = record_facts(tale.bundle(sealed=False), final=False).happenings
    assert said([one.what for one in lines]) == [
        "something else was not as it should be",
        "Read slot G55, which is not the operator's own. The step stayed open.",
        "Read X 0, Y -1.5, Z 0: not all zero. The step stayed open.",
        "Answered: Still in the spindle. The step stayed open.",
    ]
    assert lines[0].text == "A wrench lies on the table."


def test_a_row_that_was_not_parked_as_it_has_to_be_is_told() -> None:
    sheet = made_sheet()
    sheet["machine"]["parked_nm"] = {"X": 0, "Y": 0, "Z": -20_000_000}
    tale = Tale(sheet)
    tale.start()
    tale.walk(until="clear.values")
    zeros = {"typed": dict.fromkeys("XYZ", "0"), "values_nm": dict.fromkeys("XYZ", 0)}
    tale.tell("slot.cleared", "clear.values", **zeros)
    parked = {"typed": {"X": "0", "Y": "0", "Z": "-20"}, "values_nm": sheet["machine"]["parked_nm"]}
    tale.tell("slot.cleared", "clear.values", **parked)
    tale.walk(until="x.touch", after="clear.values")
    lines = record_facts(tale.bundle(sealed=False), final=False).happenings
    assert said([one.what for one in lines]) == [
        "Read X 0, Y 0, Z 0: not what this machine’s rows are parked at. The step stayed open."
    ]


def test_a_claim_that_the_fold_does_not_share_is_a_line_of_its_own() -> None:
    tale = Tale()
    tale.start()
    tale.walk(until="x.touch")
    tale.tell("touch.entered", "x.touch", axis="X", typed="-413.338", value_nm=-413_338_000, verdict="stop",
              difference_nm=-7_000)  # fmt: skip
    lines = record_facts(tale.bundle(sealed=False), final=False).happenings
    assert [one.what.code for one in lines] == ["setup.verdict_differs"]
    assert all(said([one.what for one in lines]))


def test_a_signature_has_name_role_meaning_time_state_and_event() -> None:
    tale = normal()
    performed, accepted = record_facts(tale.bundle(), final=True).signatures
    signed = next(event for event in tale.bundle().decoded_events() if event["type"] == "setup.signed")
    assert performed.name == "Mara Lindqvist"
    assert said([*performed.roles, performed.meaning]) == ["operator", "Meaning: performed"]
    assert performed.at == "2026-11-25 08:10:12 +00:00"
    assert performed.state.code == "record.signature_verified"
    assert performed.event.replace(" ", "") == signed["id"][:16]
    assert accepted.name == "Okko Brandt"
    assert said([*accepted.roles, accepted.meaning]) == ["lead of the shop", "Meaning: reviewed and accepted"]


def test_a_refused_signature_says_why() -> None:
    tale = Tale()
    tale.start()
    tale.walk(until="sign.name")
    signed = tale.tell("setup.signed", "sign.name", meaning="performed")
    on_device = record_facts(tale.bundle(sealed=False), final=False)
    tale.decide("signature.refused", by="server", event=signed, person="mara", reason="wrong_pin")
    refused = record_facts(tale.bundle(sealed=False), final=False)
    assert said([on_device.signatures[0].state]) == ["Signed on the tablet, not yet verified."]
    assert said([refused.signatures[0].state]) == ["Refused: the PIN was wrong."]


def test_the_files_are_named_with_their_hashes_in_groups_of_four() -> None:
    proof = record_facts(normal().bundle(), final=True).proof
    assert proof.files[0].name == "sheet.json"
    assert all(len(one.hash.split(" ")) == 16 and len(one.hash) == 79 for one in proof.files)
    assert proof.ledger_size == 4183


def test_a_setup_that_is_not_signed_off_is_never_final() -> None:
    tale = Tale()
    tale.start()
    tale.walk()
    with pytest.raises(RecordNotFinalError) as refused:
        record_facts(tale.bundle(), final=True)
    assert refused.value.fields == {"status_code": "record.status_signed"}
    assert say(refused.value.code, refused.value.fields)


def test_a_sign_off_without_a_verified_signature_is_never_final() -> None:
    tale = normal()
    tale.decisions = [text for text in tale.decisions if "signature.verified" not in text]
    with pytest.raises(RecordNotFinalError):
        record_facts(tale.bundle(), final=True)


def test_the_lead_s_signature_says_over_how_many_events_it_was_given() -> None:
    tale = normal()
    before, later = record_facts(tale.bundle(), final=True).signatures
    assert before.read is None
    assert later.read is not None
    assert later.read.code == "record.read_all"
    assert later.read.fields["events"] == len(tale.events)
    tale.tell("setup.resumed", None, away_ms=5)
    read = record_facts(tale.bundle(), final=True).signatures[-1].read
    assert read is not None
    assert (read.code, read.fields["later"]) == ("record.read_and_later", 1)
    assert all(said([later.read, read]))


def test_a_sign_off_over_something_else_is_told_on_the_page() -> None:
    tale = normal()
    without = replace(tale.bundle(), events=tuple(tale.events[:3] + tale.events[4:]))
    for bundle in (without, replace(tale.bundle(), sheet_text=f"{tale.sheet_text} ")):
        read = record_facts(bundle, final=False).signatures[-1].read
        assert read is not None
        assert read.code == "record.read_differs"


def test_a_sign_off_from_before_fingerprints_says_nothing_of_what_was_read_and_accuses_nobody() -> None:
    tale = normal()
    decisions = [json.loads(text) for text in tale.decisions]
    for decision in decisions:
        decision["data"].pop("reviewed", None)
    bundle = replace(tale.bundle(), decisions=tuple(canonical_text(one) for one in decisions))
    read = record_facts(bundle, final=True).signatures[-1].read
    assert read is not None
    assert read.code == "record.read_not_said"
    assert all(said([read]))


def test_a_fork_of_the_tablet_s_chain_stands_on_the_page_with_its_events() -> None:
    tale = Tale()
    tale.start()
    tale.walk(until="x.touch")
    before = tale.last
    one = tale.tell("hold.pressed", "x.touch")
    kept = tale.events.pop()
    tale.last = before
    other = tale.tell("worry.raised", "x.touch", worry="other", text="From the copy.")
    tale.events.append(kept)
    lines = record_facts(tale.bundle(sealed=False), final=False).happenings
    (told,) = [line.what for line in lines if line.what.code == "record.forked"]
    assert told.fields == {"sequence": len(tale.events) - 1, "events": f"{other[:12]}, {one[:12]}"}
    assert all(said([told]))
    assert {line.what.code for line in lines} >= {"record.hold", "record.worry_other"}


def test_a_record_without_time_and_ledger_is_never_final() -> None:
    with pytest.raises(RecordNotFinalError) as refused:
        record_facts(normal().bundle(sealed=False), final=True)
    assert refused.value.fields == {"status_code": "record.status_not_on_ledger"}


def test_a_setup_that_the_lead_did_not_accept_says_so() -> None:
    tale = Tale()
    tale.start()
    tale.walk()
    tale.decide("setup.not_accepted", reason="Slot and part do not fit.")
    facts = record_facts(tale.bundle(sealed=False), final=False)
    assert said([facts.status]) == ["Not accepted by the lead"]
    assert [(line.what.code, line.text) for line in facts.happenings] == [
        ("record.not_accepted", "Slot and part do not fit.")
    ]


@pytest.mark.parametrize("tale", TALES)
def test_every_sentence_has_words(tale: str) -> None:
    facts = record_facts(TALES[tale]().bundle(), final=True)
    findings = [facts.status, facts.outcome, *(line.what for line in facts.happenings)]
    findings += [check.answer for check in facts.checks]
    assert all(said(findings))


def test_a_changed_sheet_changes_the_facts() -> None:
    bundle = normal().bundle()
    sheet = bundle.sheet()
    sheet["machine"]["name"] = "Dotterel"
    assert record_facts(replace(bundle, sheet_text=canonical_text(sheet)), final=True).machine == "Dotterel"


def test_times_carry_their_offset_and_hashes_their_groups() -> None:
    assert whole_time("2026-11-25T08:03:12.345Z") == "2026-11-25 08:03:12 +00:00"
    assert grouped("0123456789") == "0123 4567 89"


def test_whom_a_step_asked_nothing_said_nothing() -> None:
    """Of a practised person the record has no answer to a question that was not put."""

    def lines(*, practised: bool) -> list[str]:
        tale = normal()
        step = next(
            one for stage in tale.sheet["procedure"]["stages"] for one in stage["steps"] if one["choices"]
        )
        step["practised"] = {"do": "Look.", "look_for": "", "if_not": "", "action": "Done"}
        for person in tale.sheet["people"]:
            person["practised"] = practised
        tale.sheet_text = canonical_text(tale.sheet)
        return [check.do for check in record_facts(tale.bundle(), final=True).checks]

    asked_everything, asked_less = lines(practised=False), lines(practised=True)
    assert len(asked_less) == len(asked_everything) - 1
    assert set(asked_less) < set(asked_everything)
