"""What the server takes in from tablets, and what it does not."""

import json
import re
import shutil
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.kit.clock import Clock
from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import MILL, PINS, SHOP
from tests.kit.statements import noted
from tests.kit.walk import Walk
from webapp.domain.plain.json_strict import canonical_bytes
from webapp.proof.keys.encoding import from_base64url, to_base64url
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.audit.auditing import audit
from webapp.services.intake import enrolling, intake, sorting
from webapp.services.intake.errors import BatchMalformed, BatchTooLong
from webapp.services.intake.reading import read_batch
from webapp.services.setups import answering, stored_setups
from webapp.services.setups.board import machine_state
from webapp.services.times import utc_text
from webapp.words import catalogue

UNKNOWN_SHEET = "0" * 64
# Order of the curve P-256 (SEC 2, section 2.4.2): with s also n - s is a valid signature.
CURVE_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551


def outcomes(receipts: list[dict[str, Any]]) -> Any:
    return [receipt["outcome"] for receipt in receipts]


def codes(receipt: dict[str, Any]) -> Any:
    return [problem["code"] for problem in receipt["problems"]]


def state_of(house: House, setup: str) -> Any:
    with house.store.reading():
        return stored_setups.fold_stored(house.store, setup)


def stored(house: House) -> Any:
    """Everything that may not depend on the order of arrival: events, what waits, states, sighted slots."""
    with house.store.reading():
        events = sorted(row["id"] for row in house.store.events.events_between(0, 2**62))
        setups = house.store.setups.setups()
        states = {row["id"]: stored_setups.fold_stored(house.store, row["id"]) for row in setups}
        waiting = [row["id"] for row in house.store.events.waiting()]
        return (
            events,
            waiting,
            states,
            sorted(row.items() for row in setups),
            house.store.shop.slots("mill-1"),
        )


def test_every_event_of_a_setup_is_accepted_with_a_growing_sequence(house: House) -> None:
    receipts = house.accept(house.walk().through().parts)
    assert set(outcomes(receipts)) == {"accepted"}
    assert [receipt["problems"] for receipt in receipts] == [[] for _ in receipts]
    sequences = [receipt["sequence"] for receipt in receipts]
    assert sequences == list(range(sequences[0], sequences[0] + len(receipts)))


def test_the_same_upload_twice_stores_nothing_more_and_says_already_had(house: House) -> None:
    parts = house.walk().through().parts
    first = house.accept(parts)
    before = stored(house)
    second = house.accept(parts)
    assert set(outcomes(second)) == {"already_had"}
    assert [one["sequence"] for one in second] == [one["sequence"] for one in first]
    assert stored(house) == before


def test_one_event_twice_in_one_upload_is_stored_once(house: House) -> None:
    parts = house.walk().start().parts
    receipts = house.accept([parts[0], parts[0]])
    assert receipts[0] == receipts[1]
    assert len(stored(house)[0]) == 1


def test_an_altered_but_valid_signature_does_not_make_another_event(house: House) -> None:
    part = house.walk().start().parts[0]
    signed, _, signature = part["jws"].rpartition(".")
    raw = from_base64url(signature)
    negated = CURVE_ORDER - int.from_bytes(raw[32:], "big")
    other = f"{signed}.{to_base64url(raw[:32] + negated.to_bytes(32, 'big'))}"
    assert outcomes(house.accept([{"jws": other, "pin": None}])) == ["accepted"]
    assert outcomes(house.accept([part])) == ["already_had"]
    assert len(stored(house)[0]) == 1


def test_a_batch_cut_in_half_is_whole_when_the_other_half_comes(house: House) -> None:
    parts = house.walk().through().parts
    half = len(parts) // 2
    assert set(outcomes(house.accept(parts[:half]))) == {"accepted"}
    assert set(outcomes(house.accept(parts[half:]))) == {"accepted"}
    assert not audit(house.store)


def test_events_in_reverse_order_are_all_accepted(house: House) -> None:
    walk = house.walk().through()
    receipts = house.accept(walk.parts[::-1])
    assert set(outcomes(receipts)) == {"accepted"}
    assert state_of(house, walk.setup)["current_step"] == walk.step["id"]


def test_events_after_a_gap_wait_and_are_taken_when_the_gap_fills(house: House) -> None:
    parts = house.walk().through().parts
    receipts = house.accept([*parts[:3], *parts[4:]])
    assert outcomes(receipts) == ["accepted"] * 3 + ["kept_out_of_order"] * (len(parts) - 4)
    assert {receipt["code"] for receipt in receipts[3:]} == {"chain.waiting"}
    assert len(intake.waiting(house.store)) == len(parts) - 4
    assert outcomes(house.accept([parts[3]])) == ["accepted"]
    assert intake.waiting(house.store) == []
    assert set(outcomes(house.accept(parts))) == {"already_had"}
    assert not audit(house.store)


def test_what_waits_goes_on_waiting_whatever_else_of_its_tablet_comes_and_only_as_long(house: House) -> None:
    walk = house.walk().through()
    parts, own = walk.parts, len(walk.parts)
    house.accept([*parts[:3], *parts[5:]])
    waiting = {row["id"] for row in intake.waiting(house.store)}
    house.accept([parts[3]])
    assert {row["id"] for row in intake.waiting(house.store)} == waiting
    assert len(waiting) == own - 5
    with house.store.writing():
        house.store.devices.set_state(house.device.id, "disabled")
    assert [one["code"] for one in house.accept([parts[4]])] == ["intake.device_disabled"]
    assert intake.waiting(house.store) == []
    assert {row["id"] for row in intake.refused(house.store)} >= waiting


def test_what_waits_is_judged_once_when_it_comes_again_with_what_it_waited_for(house: House) -> None:
    """Judged twice, an early event would seem set back in time beside what came after it."""
    parts = house.walk().through().parts
    house.accept([*parts[:3], *parts[4:]])
    receipts = house.accept(parts[3:])
    assert set(outcomes(receipts)) == {"accepted"}
    assert [codes(receipt) for receipt in receipts] == [[]] * len(receipts)
    assert not audit(house.store)


def test_two_events_with_one_number_are_both_kept_and_the_tablet_is_flagged(house: House) -> None:
    walk = house.walk().start()
    twin = house.device.clone()
    house.device.event("setup.resumed", {"away_ms": 1}, **_envelope(walk))
    twin.event("setup.resumed", {"away_ms": 2}, **_envelope(walk))
    later = house.device.event("hold.pressed", {}, **_envelope(walk))
    first = house.accept(walk.parts[:2])
    second = house.accept(twin.sent)
    third = house.accept(walk.parts[2:])
    assert outcomes(first + second + third) == ["accepted"] * 4
    assert codes(second[0]) == ["chain.forked"]
    assert codes(third[0]) == ["chain.device_forked"]
    assert enrolling.devices(house.store)[0]["state"] == "forked"
    with house.store.reading():
        changes = house.store.ledger.changes(kind="device.forked")
    assert len(changes) == 1
    assert state_of(house, walk.setup)["holds"][0]["event"] == later["id"]


def test_a_fork_after_the_sign_off_is_kept_apart_and_changes_nothing_of_what_was_signed_off(
    house: House,
) -> None:
    walk = house.signed_off()
    before = state_of(house, walk.setup)
    touch = next(event for event in walk.events if event["type"] == "touch.entered")
    for away in range(1, 5):  # by its id one of two events with one number comes first in the fold
        twin = Device(house.device.number, "Tablet 1", touch["sequence"] - 1, touch["previous"])
        data = {**touch["data"], "typed": f"-381.25{away}", "value_nm": -381_250_000 - away * 1_000_000}
        twin.event("touch.entered", data, **{**_envelope(walk), "step": touch["step"]})
        receipt = house.accept(twin.sent)[0]
        assert (receipt["outcome"], receipt["code"]) == ("refused", "intake.setup_decided")
    after = state_of(house, walk.setup)
    assert {**after, "problems": []} == {**before, "problems": []}
    assert [problem["code"] for problem in after["problems"]] == ["intake.setup_decided"] * 4
    assert enrolling.devices(house.store)[0]["state"] == "forked"


def test_what_a_setup_lacked_is_not_put_in_after_the_sign_off(house: House) -> None:
    walk = house.walk().start()
    house.device.event("hold.pressed", {"more": 1}, **_envelope(walk))
    walk.until("sign")
    walk.sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    for question in answering.questions(house.store):
        answering.answer(house.store, question["id"], "ines", "go_on", "First value here.", house.clock())
    house.sign_off(walk.setup)
    lacking = walk.events[0]
    late = Device(house.device.number, "Tablet 1", lacking["sequence"], lacking["id"])
    late.event("hold.pressed", {}, **_envelope(walk))
    assert house.accept(late.sent)[0]["code"] == "intake.setup_decided"
    assert state_of(house, walk.setup)["holds"] == []


def test_a_lead_who_looked_into_a_fork_makes_it_an_ordinary_tablet_again(house: House) -> None:
    walk = house.walk().start()
    twin = house.device.clone()
    house.device.event("setup.resumed", {"away_ms": 1}, **_envelope(walk))
    twin.event("setup.resumed", {"away_ms": 2}, **_envelope(walk))
    house.accept(walk.parts + twin.sent)
    enrolling.clear_fork(house.store, house.device.id, "ines", "Brought back from a backup.", house.clock())
    assert enrolling.devices(house.store)[0]["state"] == "enrolled"


def asks(walk: Walk, question: str, text: str) -> dict[str, Any]:
    """Put a question under an id of the test's choice; its part of the upload."""
    walk.event("question.put", {"question": question, "axis": None, "text": text})
    return walk.device.sent[-1]


def test_a_question_of_another_setup_is_refused_and_hides_nothing(house: House) -> None:
    walk = house.walk().start()
    question = walk.question(1, "X", "The real one.")
    house.accept(walk.parts)
    other = Device(90_555, "Tablet 2")
    other.enrol(house.store, house.keyring, house.clock, code="7QF3KM9XRB")
    copying = house.walk(device=other).start()
    copied = asks(copying, question, "Not the real one.")
    receipt = house.accept(copying.parts)[-1]
    assert (receipt["outcome"], receipt["code"]) == ("refused", "intake.question_of_other_setup")
    assert receipt["fields"] == {"question": question}
    assert [row["text"] for row in answering.questions(house.store)] == ["The real one."]
    answering.answer(house.store, question, "ines", "go_on", "Fine.", house.clock())
    assert state_of(house, copying.setup)["questions"] == []
    assert house.accept([copied])[0]["code"] == "intake.question_of_other_setup"


def test_of_two_setups_that_name_one_question_in_one_upload_the_second_is_refused(house: House) -> None:
    question = "00000000-0000-0000-0000-0000000000aa"
    first = house.walk().start()
    asks(first, question, "First.")
    second = house.walk().start()
    asks(second, question, "Second.")
    receipts = house.accept(house.device.sent)
    assert [receipt["outcome"] for receipt in receipts] == ["accepted", "accepted", "accepted", "refused"]
    assert [row["text"] for row in answering.questions(house.store)] == ["First."]


def test_a_question_sent_twice_in_its_own_setup_is_a_problem_and_no_refusal(house: House) -> None:
    walk = house.walk().start()
    question = walk.question(1, "X")
    asks(walk, question, "Once more.")
    receipts = house.accept(walk.parts)
    assert outcomes(receipts) == ["accepted"] * 3
    assert codes(receipts[-1]) == ["setup.question_twice"]


def test_an_unknown_tablet_is_refused_and_set_aside(house: House) -> None:
    stranger = Device(90_777)
    walk = house.walk(device=stranger).start()
    receipts = house.accept(walk.parts)
    assert (receipts[0]["outcome"], receipts[0]["code"]) == ("refused", "intake.device_unknown")
    assert [row["code"] for row in intake.refused(house.store)] == ["intake.device_unknown"]


def test_a_disabled_tablet_is_refused_and_set_aside(house: House) -> None:
    walk = house.walk().start()
    enrolling.disable(house.store, house.device.id, "ines", "Lost.", house.clock())
    receipts = house.accept(walk.parts)
    assert (receipts[0]["outcome"], receipts[0]["code"]) == ("refused", "intake.device_disabled")
    assert [row["code"] for row in intake.refused(house.store)] == ["intake.device_disabled"]


def test_a_disabled_tablet_cannot_write_into_the_record_of_another(house: House) -> None:
    walk = house.signed()
    thief = Device(90_555, "Tablet 2")
    thief.enrol(house.store, house.keyring, house.clock, code="8RF3KM9XRB")
    enrolling.disable(house.store, thief.id, "ines", "Lost.", house.clock())
    thief.event("hold.pressed", {}, **_envelope(walk))
    assert outcomes(house.accept(thief.sent)) == ["refused"]
    assert state_of(house, walk.setup)["problems"] == []


def test_an_event_for_a_setup_that_another_tablet_began_is_refused(house: House) -> None:
    walk = house.walk().start()
    house.accept(walk.parts)
    other = Device(90_555, "Tablet 2")
    other.enrol(house.store, house.keyring, house.clock, code="8RF3KM9XRB")
    other.event("hold.pressed", {}, **_envelope(walk))
    assert house.accept(other.sent)[0]["code"] == "intake.setup_of_other_device"


def test_one_changed_byte_is_refused(house: House) -> None:
    part = house.walk().start().parts[0]
    place = len(part["jws"]) // 2
    for changed in ("A", "B"):
        jws = part["jws"][:place] + changed + part["jws"][place + 1 :]
        if jws != part["jws"]:
            receipt = house.accept([{"jws": jws, "pin": None}])[0]
            assert receipt["outcome"] == "refused"
            assert receipt["code"].startswith("jws.")


def test_a_signature_by_another_key_is_refused(house: House) -> None:
    walk = house.walk().start()
    forged = house.device.part(
        json.loads(_payload(walk.parts[0]["jws"])), ec.derive_private_key(5, ec.SECP256R1())
    )
    assert house.accept([forged])[0]["code"] == "jws.signature_wrong"
    assert stored(house)[0] == []


def test_a_forged_copy_that_came_first_does_not_keep_the_real_event_out(house: House) -> None:
    part = house.walk().start().parts[0]
    forged = {"jws": part["jws"].rpartition(".")[0] + "." + "A" * 86, "pin": None}
    assert outcomes(house.accept([forged])) == ["refused"]
    assert outcomes(house.accept([part])) == ["accepted"]


def test_a_forged_copy_of_an_event_that_is_refused_does_not_hold_up_the_next(house: House) -> None:
    walk = house.walk().start()
    house.device.event("hold.pressed", {"extra": 1}, **_envelope(walk))
    house.device.event("hold.pressed", {}, **_envelope(walk))
    forged = {"jws": walk.parts[1]["jws"].rpartition(".")[0] + "." + "A" * 86, "pin": None}
    house.accept([forged])
    assert outcomes(house.accept(walk.parts)) == ["accepted", "refused", "accepted"]


def test_the_signed_part_of_an_event_without_its_signature_does_not_keep_the_event_out(house: House) -> None:
    walk = house.walk().start()
    walk.answer()
    for part in walk.parts:
        house.accept([{"jws": part["jws"].rpartition(".")[0], "pin": None}])
    assert outcomes(house.accept(walk.parts)) == ["accepted", "accepted"]
    assert {row["device"] for row in intake.refused(house.store)} == {None}


def test_an_event_that_is_refused_is_kept_apart_although_its_signed_part_came_before_it(house: House) -> None:
    walk = house.walk().start()
    house.device.event("hold.pressed", {"more": 1}, **_envelope(walk))
    bad, after = walk.parts[1], house.device.event("hold.pressed", {}, **_envelope(walk))
    house.accept([{"jws": bad["jws"].rpartition(".")[0], "pin": None}])
    assert outcomes(house.accept(walk.parts)) == ["accepted", "refused", "accepted"]
    kept = {row["device"]: row for row in intake.refused(house.store)}
    assert kept[house.device.id]["id"] == after["previous"]


def test_of_two_texts_with_one_id_in_one_upload_the_signed_one_counts(house: House) -> None:
    part = house.walk().start().parts[0]
    forged = {"jws": part["jws"].rpartition(".")[0] + "." + "A" * 86, "pin": None}
    assert outcomes(house.accept([forged, part])) == ["accepted", "accepted"]


@pytest.mark.parametrize("over", [0, 1])
def test_as_many_events_of_a_tablet_wait_as_there_is_room_for_and_not_one_more(
    house: House, monkeypatch: pytest.MonkeyPatch, over: int
) -> None:
    parts = house.walk().start().until("search", "Z").parts
    monkeypatch.setattr(sorting, "MOST_WAITING", len(parts) - 1 - over)
    receipts = house.accept(parts[1:])
    assert outcomes(receipts) == ["kept_out_of_order"] * (len(parts) - 1 - over) + ["refused"] * over
    assert len(intake.waiting(house.store)) == len(parts) - 1 - over
    assert [one["code"] for one in receipts if one["outcome"] == "refused"] == [
        "chain.too_many_waiting"
    ] * over
    assert outcomes(house.accept(parts)) == ["accepted"] * len(parts), "what had no room came again"


def test_two_thousand_texts_of_nobody_leave_room_for_evidence_and_little_on_the_ledger(house: House) -> None:
    def send(texts: list[str], source: str) -> None:
        parts = read_batch([{"jws": text, "pin": None} for text in texts])
        intake.take_in(house.store, house.keyring, parts, house.clock(), source)

    with house.store.reading():
        before = house.store.ledger.size()
    for start in range(0, 2000, 500):
        send([f"junk.{start + number}.x" for number in range(500)], "10.0.0.66")
    with house.store.reading():
        assert house.store.ledger.size() - before == intake.MOST_UNSIGNED_OF_ONE
    assert len(intake.refused(house.store)) == intake.MOST_UNSIGNED_OF_ONE
    send(["really.broken.x"], "10.0.0.7")
    assert "really.broken.x" in {row["jws"] for row in intake.refused(house.store)}


def test_many_addresses_have_one_room_a_day_and_the_next_day_has_its_own(house: House) -> None:
    def send(text: str, source: str) -> None:
        parts = read_batch([{"jws": text, "pin": None}])
        intake.take_in(house.store, house.keyring, parts, house.clock(), source)

    for number in range(intake.MOST_UNSIGNED_A_DAY + 20):
        send(f"junk.{number}.x", f"10.0.{number}.1")
    assert len(intake.refused(house.store)) == intake.MOST_UNSIGNED_A_DAY
    house.clock.forward(days=1)
    send("next.day.x", "10.0.0.1")
    assert intake.refused(house.store)[0]["jws"] == "next.day.x"


def test_of_unsigned_texts_the_oldest_go_and_signed_ones_stay(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake, "MOST_UNSIGNED_ASIDE", 3)
    house.accept([house.device.part(b"[]")])
    for number in range(6):
        house.clock.forward(hours=1)
        house.accept([{"jws": f"junk.{number}.x", "pin": None}])
    kept = [row["jws"] for row in intake.refused(house.store)]
    assert kept[:3] == ["junk.5.x", "junk.4.x", "junk.3.x"]
    assert len(kept) == 4


def test_an_event_is_taken_once_its_sheet_is_known_again(house: House) -> None:
    sheet = house.sheet()
    walk = house.walk().start()
    walk.sheet_hash = UNKNOWN_SHEET
    assert sheet[0] != UNKNOWN_SHEET
    late = house.walk()
    late.sheet_hash = UNKNOWN_SHEET
    parts = late.start().parts
    house.accept(walk.parts)
    assert outcomes(house.accept(parts)) == ["refused"]
    with house.store.writing():
        times = ("2026-11-25T07:00:00.000Z", "2026-11-25T19:00:00.000Z")
        house.store.sheets.keep_sheet(UNKNOWN_SHEET, "mill-1", sheet[1], "content", times)
    assert outcomes(house.accept(parts)) == ["accepted"]


def test_an_event_for_an_unknown_sheet_is_refused(house: House) -> None:
    walk = house.walk()
    walk.sheet_hash = UNKNOWN_SHEET
    receipt = house.accept(walk.start().parts)[0]
    assert (receipt["outcome"], receipt["code"]) == ("refused", "intake.sheet_unknown")


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (b'{"a":1,"a":2}', "json.repeated_name"),
        (b'{"a":NaN}', "json.not_a_number"),
        (b'{"a":9007199254740992}', "json.integer_too_large"),
        (b'{"a":', "json.malformed"),
        (b'"\xff"', "json.not_utf8"),
        (b"[]", "event.not_an_object"),
        (b"{}", "event.field_missing"),
    ],
)
def test_a_payload_that_is_no_strict_event_is_refused_and_kept_apart(
    house: House, raw: bytes, code: str
) -> None:
    receipt = house.accept([house.device.part(raw)])[0]
    assert (receipt["outcome"], receipt["code"]) == ("refused", code)
    kept = intake.refused(house.store)[0]
    assert (kept["code"], kept["device"]) == (code, house.device.id)


def test_a_field_too_many_is_refused(house: House) -> None:
    walk = house.walk().start()
    payload = json.loads(_payload(walk.parts[0]["jws"])) | {"extra": 1}
    receipt = house.accept([house.device.part(payload)])[0]
    assert (receipt["code"], receipt["fields"]["field"]) == ("event.field_unknown", "extra")


def test_an_event_that_names_another_device_is_refused(house: House) -> None:
    walk = house.walk().start()
    payload = json.loads(_payload(walk.parts[0]["jws"])) | {"device": Device(90_777).id}
    assert house.accept([house.device.part(payload)])[0]["code"] == "intake.other_device"


def test_a_refused_event_stays_refused_and_does_not_hold_up_the_next(house: House) -> None:
    walk = house.walk().start()
    bad = house.device.event("hold.pressed", {"extra": 1}, **_envelope(walk))
    house.device.event("hold.pressed", {}, **_envelope(walk))
    receipts = house.accept(walk.parts)
    assert outcomes(receipts) == ["accepted", "refused", "accepted"]
    assert codes(receipts[2]) == ["chain.after_refused"]
    assert outcomes(house.accept(walk.parts)) == ["already_had", "refused", "already_had"]
    assert house.accept(walk.parts)[1]["event"] == bad["id"]


def test_a_wrong_number_behind_its_predecessor_is_refused(house: House) -> None:
    walk = house.walk().start()
    house.device.sequence += 5
    house.device.event("hold.pressed", {}, **_envelope(walk))
    receipt = house.accept(walk.parts)[1]
    assert (receipt["code"], receipt["fields"]) == ("chain.sequence_wrong", {"sequence": 7, "expected": 2})


def test_following_the_event_of_another_tablet_is_refused(house: House) -> None:
    walk = house.walk().start()
    house.accept(walk.parts)
    other = Device(90_555, "Tablet 2")
    other.enrol(house.store, house.keyring, house.clock, code="8RF3KM9XRB")
    other.sequence, other.previous = 1, house.device.previous
    second = house.walk(device=other).start()
    assert house.accept(second.parts)[0]["code"] == "chain.other_device"


def test_of_two_tablets_that_claim_one_new_setup_in_one_upload_one_has_it(house: House) -> None:
    walk = house.walk().start()
    other = Device(90_556, "Tablet 3")
    other.enrol(house.store, house.keyring, house.clock, code="8RF3KM9XRC")
    claimed = house.walk(device=other)
    claimed.setup = walk.setup
    receipts = house.accept([*walk.parts, *claimed.start().parts])
    assert {one["code"] for one in receipts} == {None, "intake.setup_of_other_device"}


def test_a_sheet_past_its_life_is_accepted_with_a_problem(house: House) -> None:
    walk = house.walk()
    house.clock.forward(hours=13)
    receipt = house.accept(walk.start().parts)[0]
    assert receipt["outcome"] == "accepted"
    assert "setup.sheet_expired" in codes(receipt)


@pytest.mark.parametrize(("ahead_s", "told"), [(120, False), (121, True)])
def test_a_clock_may_be_two_minutes_ahead_before_it_is_noted(house: House, ahead_s: int, told: bool) -> None:
    walk = house.walk().start()
    now = datetime.fromisoformat(walk.events[0]["at_utc"]) - timedelta(seconds=ahead_s)
    receipt = intake.accept(house.store, house.keyring, walk.parts, now)[0]
    assert ("clock.skew" in codes(receipt)) is told


def test_a_clock_that_is_ahead_is_noted_and_orders_nothing(house: House) -> None:
    walk = house.walk().start()
    server = house.clock()
    house.clock.forward(hours=1)
    walk.answer()
    receipts = intake.accept(house.store, house.keyring, walk.parts, server)
    assert (codes(receipts[0]), codes(receipts[1])) == ([], ["clock.skew"])


def test_a_clock_that_is_days_ahead_does_not_hide_what_others_did_since(house: House) -> None:
    def seen() -> tuple[Any, Any]:
        with house.store.reading():
            board = machine_state(house.store, "mill-1", house.clock(), {})
            slot = house.store.shop.slot("mill-1", "G54")
        return board["setup"], slot["last_setup"] if slot else None

    ahead = house.walk()
    ahead.clock = Clock(house.clock() + timedelta(days=2))
    house.clock.forward(minutes=3)
    ahead.start().until("touch")
    house.accept(ahead.parts)
    assert seen() == (ahead.setup, ahead.setup)
    house.clock.forward(minutes=1)
    after = house.walk().start().until("touch")
    house.accept(after.parts)
    assert seen() == (after.setup, after.setup)


def slot_seen(house: House) -> tuple[Any, Any]:
    """Which setup the register last saw in Mara's slot, and when."""
    with house.store.reading():
        slot = house.store.shop.slot("mill-1", "G54")
    return (slot["last_setup"], slot["last_seen_at_utc"]) if slot else (None, None)


@pytest.mark.parametrize("days", [-2, 2])
def test_what_a_slot_holds_is_as_old_as_the_servers_receipt_whatever_the_tablets_clock_says(
    house: House, days: int
) -> None:
    before = house.walk().start().until("touch")
    house.accept(before.parts)
    assert slot_seen(house) == (before.setup, utc_text(house.clock()))
    off = house.walk()
    off.clock = Clock(house.clock() + timedelta(days=days))
    house.clock.forward(hours=1)
    off.start().until("touch")
    house.accept(off.parts)
    assert slot_seen(house) == (off.setup, utc_text(house.clock()))
    with house.store.reading():
        times = {event["at_utc"] for event in stored_setups.events_of(house.store, off.setup)}
    assert all((at_utc > utc_text(house.clock())) == (days > 0) for at_utc in times)


def test_an_event_that_shows_no_value_does_not_make_the_slots_older_values_new(house: House) -> None:
    first = house.walk().start().until("touch")
    house.accept(first.parts)
    house.clock.forward(hours=1)
    second = house.walk().start().until("touch")
    house.accept(second.parts)
    seen = slot_seen(house)
    assert seen[0] == second.setup
    house.clock.forward(hours=1)
    first.question(1, None, "Shall I go on?")
    house.accept(first.parts[-1:])
    assert slot_seen(house) == seen


def test_a_setup_counts_for_the_machine_of_its_sheet_whatever_it_claims(house: House) -> None:
    walk = house.walk()
    walk.event("setup.started", {"machine": "mill-2", "display": "standalone"})
    receipt = house.accept(walk.parts)[0]
    assert codes(receipt) == ["setup.machine_differs"]
    with house.store.reading():
        setup = house.store.setups.setup(walk.setup)
    assert setup is not None
    assert setup["machine"] == "mill-1"


def test_a_clock_that_goes_back_is_noted(house: House) -> None:
    walk = house.walk().start()
    walk.answer()
    house.clock.forward(minutes=-10)
    walk.answer()
    house.clock.forward(minutes=20)
    receipts = house.accept(walk.parts)
    assert [codes(receipt) for receipt in receipts] == [[], [], ["clock.skew"]]


def test_an_event_out_of_its_step_is_kept_with_a_problem_and_changes_nothing(house: House) -> None:
    walk = house.walk().start()
    step = walk.step["id"]
    walk.event("tool.read", {"typed": "30", "matches": True}, "probe.tool")
    receipt = house.accept(walk.parts)[1]
    assert receipt["outcome"] == "accepted"
    assert codes(receipt)[0].startswith("setup.")
    assert state_of(house, walk.setup)["current_step"] == step


def test_a_verdict_that_the_tablet_claims_wrongly_is_found(house: House) -> None:
    house.signed_off()
    walk = house.walk().start().until("touch")
    data = {
        "axis": "X",
        "typed": "-300.000",
        "value_nm": -300_000_000,
        "verdict": "agrees",
        "difference_nm": 0,
    }
    walk.event("touch.entered", data, walk.step["id"])
    receipt = house.accept(walk.parts)[-1]
    assert "setup.verdict_differs" in codes(receipt)


def test_what_is_no_list_of_parts_is_refused_whole(house: House) -> None:
    part = house.walk().start().parts[0]
    for wrong in ({}, [part, {}], [{"jws": 1, "pin": None}], [{"jws": "a", "pin": 1}], [{**part, "more": 1}]):
        with pytest.raises(BatchMalformed):
            house.accept(wrong)
    assert stored(house)[0] == []


def test_an_upload_that_is_too_long_is_refused_whole(house: House) -> None:
    with pytest.raises(BatchTooLong):
        house.accept(house.walk().start().parts * 501)
    assert stored(house)[0] == []


def test_texts_that_are_no_signed_message_are_refused(house: House) -> None:
    for text in ("", "...", "a.b.c", "é.é.é", "\ud800", "x" * 70_000):
        receipt = house.accept([{"jws": text, "pin": None}])[0]
        assert receipt["outcome"] == "refused"


def test_what_the_register_last_saw_follows_the_touches(house: House) -> None:
    walk = house.walk(values_nm={"X": -381_111_000, "Y": -152_222_000, "Z": -300_333_000}).through()
    house.accept(walk.parts)
    with house.store.reading():
        slot = house.store.shop.slot("mill-1", "G54")
    assert slot["last_values"] == walk.values_nm
    assert slot["last_setup"] == walk.setup


def test_what_the_register_last_saw_of_a_cleared_row_is_what_it_is_parked_at(tmp_path: Path) -> None:
    parked = replace(MILL, z_zero_at_top=False, parked_z_nm=-50_000_000)
    house = House(tmp_path, shop=replace(SHOP, machines=(parked, *SHOP.machines[1:])))
    walk = house.walk().start().until("search")
    house.accept(walk.parts)
    with house.store.reading():
        cleared = house.store.shop.slot("mill-1", "G54")
    assert cleared["last_values"] == {"X": 0, "Y": 0, "Z": -50_000_000}
    first = len(walk.parts)
    walk.until("search", "Y")
    walk.event("setup.broken_off", {}, walk.step["id"])
    walk.until("finish")
    assert not [problem for one in house.accept(walk.parts[first:]) for problem in one["problems"]]
    with house.store.reading():
        parked_again = house.store.shop.slot("mill-1", "G54")
    assert parked_again["last_values"] == {"X": 0, "Y": 0, "Z": -50_000_000}
    assert state_of(house, walk.setup)["zeroed"] is not None
    house.store.close()


def test_a_question_comes_onto_the_lead_s_list_once(house: House) -> None:
    walk = house.walk().start()
    question = walk.question(1, None, "Is this vise the right one?")
    house.accept(walk.parts)
    house.accept(walk.parts)
    with house.store.reading():
        assert [row["id"] for row in house.store.setups.questions()] == [question]


def test_the_bytes_come_back_as_they_were_signed(house: House) -> None:
    walk = house.walk().start()
    payload = json.loads(_payload(walk.parts[0]["jws"]))
    odd = json.dumps(payload, indent=3).encode() + b"\n "
    assert odd != canonical_bytes(payload)
    part = Device.part(house.device, odd)
    assert outcomes(house.accept([part])) == ["accepted"]
    with house.store.reading():
        assert [row["jws"] for row in house.store.events.events_between(0, 2**62)] == [part["jws"]]


def test_every_code_of_an_event_s_fate_has_words() -> None:
    source = "".join(path.read_text() for path in Path("webapp/services/intake").glob("*.py"))
    found = set(re.findall(r'"((?:intake|chain|clock)\.[a-z_]+)"', source))
    assert len(found) > 10
    assert found <= catalogue().keys()


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_order_portions_and_repeats_give_the_same_state(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory, keyring: KeyRing, furnished: Path
) -> None:
    def furnish() -> Any:
        folder = tmp_path_factory.mktemp("house") / "shop"
        shutil.copytree(furnished, folder)
        return House(folder, keyring, loaded=True)

    one, other = furnish(), furnish()
    walks = [one.walk("mara").start().until("touch", "Y"), one.walk("tomas").start().until("clear")]
    parts = one.device.sent
    other.clock.moment = one.clock.moment
    other.sheet()
    one.accept(parts)
    with other.store.writing():
        for walk in walks:
            row = _sheet_row(one, walk.sheet_hash)
            times = (row["compiled_at_utc"], row["expires_at_utc"])
            other.store.sheets.keep_sheet(row["hash"], row["machine"], row["text"], row["content"], times)
    shuffled = data.draw(st.permutations(parts)) + data.draw(st.lists(st.sampled_from(parts), max_size=5))
    cut = data.draw(st.integers(0, len(shuffled)))
    for portion in (shuffled[:cut], shuffled[cut:], shuffled[:3]):
        other.accept(portion)
    assert stored(other) == stored(one)
    assert not audit(other.store)
    one.store.close()
    other.store.close()


def _sheet_row(house: House, sheet_hash: str) -> Any:
    with house.store.reading():
        return house.store.sheets.sheet(sheet_hash)


def _envelope(walk: Walk) -> Any:
    walk.clock.forward(seconds=5)
    return {"setup": walk.setup, "sheet": walk.sheet_hash, "person": walk.person, "at_utc": walk.clock.text}


def _payload(jws: str) -> Any:
    return from_base64url(jws.split(".")[1])


def test_no_statement_is_built_anew_for_each_setup_of_an_upload(house: House) -> None:
    """Building one takes longer than running it. The library that builds them names its tables t1, t2."""

    def built(setups: int) -> int:
        first = len(house.device.sent)
        for _ in range(setups):
            house.walk().through()
        with noted(house.store._database) as asked:
            house.accept(house.device.sent[first:])
        return len([text for text, _ in asked if '"t1"' in text])

    built(1)  # what is looked up once
    assert built(1) == built(4)
