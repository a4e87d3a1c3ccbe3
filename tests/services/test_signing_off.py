"""The lead decides: sign-off, refusal, answers; and what becomes of the values."""

import json
import threading
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.kept import kept_values
from tests.kit.shop import PASSPHRASES, PINS
from tests.kit.walk import Walk
from webapp.domain.evidence.reviewed import fits
from webapp.services.decisions import signing_off
from webapp.services.decisions.errors import (
    DecidedAlready,
    NotFinished,
    QuestionsOpen,
    SetupChanged,
    SignatureNotVerified,
)
from webapp.services.errors import (
    AnsweredAlready,
    DecisionUnknown,
    NoSuchQuestion,
    NoSuchSetup,
    OwnSetup,
    ReasonMissing,
    RoleMissing,
)
from webapp.services.people import accounts
from webapp.services.people.errors import SignInRefused
from webapp.services.setups import answering

UNKNOWN = "00000000-0000-0000-0000-00000000dead"


def kept(house: House, fixture: str = "vise-a") -> Any:
    with house.store.reading():
        return kept_values(house.store, fixture)


def status(house: House, walk: Walk) -> Any:
    with house.store.reading():
        return house.store.setups.setup(walk.setup)["status"]


def not_accept(house: House, setup: str, by: str = "ines", reason: str = "Touched the moving jaw.") -> None:
    seen = house.seen(setup)
    signing_off.not_accept(house.store, setup, by, PASSPHRASES[by], reason, house.clock(), seen=seen)


def answer(
    house: House,
    question: str,
    by: str = "ines",
    decision: str = "go_on",
    reason: str = "The vise was moved.",
) -> None:
    answering.answer(house.store, question, by, decision, reason, house.clock())


def test_a_signed_off_setup_leaves_the_queue_and_its_values_join_the_usual(house: House) -> None:
    walk = house.signed()
    assert [row["id"] for row in signing_off.queue(house.store)] == [walk.setup]
    assert kept(house) == []
    house.sign_off(walk.setup, note="Well done.")
    assert signing_off.queue(house.store) == []
    assert {row["axis"]: row["value_nm"] for row in kept(house)} == walk.values_nm
    assert {row["seating"] for row in kept(house)} == {"vise-a-1"}
    assert status(house, walk) == "signed_off"
    detail = signing_off.detail(house.store, walk.setup)
    assert detail["state"]["sign_off"]["note"] == "Well done."


def test_a_repeated_touch_brings_one_value_of_the_setup_and_axis(house: House) -> None:
    house.signed_off()
    walk = house.walk().start().until("compare", "X")
    walk.event("touch.repeated", {"axis": "X"}, walk.step["id"])
    walk.until("touch", "X").touch(-381_249_000)
    walk.until("sign").sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    house.sign_off(walk.setup)
    values = [row["value_nm"] for row in kept(house) if row["axis"] == "X" and row["setup"] == walk.setup]
    assert values == [-381_249_000]


def test_a_setup_that_is_not_accepted_brings_no_value(house: House) -> None:
    walk = house.signed()
    not_accept(house, walk.setup)
    assert (status(house, walk), kept(house)) == ("not_accepted", [])


def test_a_broken_off_setup_can_be_signed_off_and_brings_no_value(house: House) -> None:
    walk = house.walk().start().until("search", "Y")
    walk.event("setup.broken_off", {}, None)
    walk.event("break.explained", {"reason": "practice", "text": ""}, None)
    walk.until("sign").sign(PINS["mara"], house.keyring)
    assert house.accept(walk.parts)[-1]["signature"] == "verified"
    for question in answering.questions(house.store):
        answer(house, question["id"])
    house.sign_off(walk.setup)
    assert (status(house, walk), kept(house)) == ("signed_off", [])


def test_whoever_ran_a_setup_does_not_sign_it_off(house: House) -> None:
    walk = house.signed("tomas")
    with pytest.raises(OwnSetup):
        house.sign_off(walk.setup, by="tomas")
    with pytest.raises(OwnSetup):
        not_accept(house, walk.setup, by="tomas")


def test_an_operator_does_not_sign_off(house: House) -> None:
    walk = house.signed()
    with pytest.raises(RoleMissing):
        house.sign_off(walk.setup, by="ivo")


def test_whoever_is_no_lead_refuses_no_setup_either(house: House) -> None:
    walk = house.signed()
    with pytest.raises(RoleMissing):
        not_accept(house, walk.setup, by="ivo")
    with house.store.reading():
        assert house.store.ledger.changes(kind="setup.not_accepted") == []


def test_each_sign_off_asks_for_the_passphrase(house: House) -> None:
    walk = house.signed()
    with pytest.raises(SignInRefused):
        house.sign_off(walk.setup, passphrase="wrong")
    seen = house.seen(walk.setup)
    with pytest.raises(SignInRefused):
        signing_off.not_accept(house.store, walk.setup, "ines", "wrong", "No.", house.clock(), seen=seen)
    assert status(house, walk) == "signed"


def test_a_lead_who_was_disabled_does_not_sign_off(house: House) -> None:
    walk = house.signed()
    accounts.disable_person(house.store, "tomas", "Left.", "ines", house.clock())
    with pytest.raises(SignInRefused):
        house.sign_off(walk.setup, by="tomas")


def test_a_lead_whose_role_was_taken_does_not_sign_off(house: House) -> None:
    walk = house.signed()
    accounts.change_roles(house.store, "tomas", ["operator"], "ines", house.clock())
    with pytest.raises(RoleMissing):
        house.sign_off(walk.setup, by="tomas")


def test_a_running_setup_cannot_be_decided_about(house: House) -> None:
    walk = house.walk().start()
    house.accept(walk.parts)
    with pytest.raises(NotFinished):
        house.sign_off(walk.setup)
    with pytest.raises(NotFinished):
        not_accept(house, walk.setup)


def test_an_unverified_signature_cannot_be_countersigned(house: House) -> None:
    walk = house.walk().start().until("sign")
    walk.sign("364859", house.keyring)
    house.accept(walk.parts)
    with pytest.raises(SignatureNotVerified):
        house.sign_off(walk.setup)


def asked(house: House) -> Walk:
    """A complete and signed setup that waits for two answers."""
    walk = house.walk().start()
    walk.question(1, "X")
    walk.question(2, None)
    walk.until("sign").sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    return walk


def test_open_questions_keep_a_setup_from_being_signed_off(house: House) -> None:
    walk = asked(house)
    with pytest.raises(QuestionsOpen) as refused:
        house.sign_off(walk.setup)
    assert refused.value.fields == {"count": 2}


def test_the_first_setup_at_a_vise_puts_no_question_and_is_decided_about_with_its_sign_off(
    house: House,
) -> None:
    walk = house.walk().through()
    walk.sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    assert answering.questions(house.store) == []
    house.sign_off(walk.setup)
    assert {row["axis"]: row["value_nm"] for row in kept(house)} == walk.values_nm


def test_an_unknown_setup_is_said_to_be_unknown(house: House) -> None:
    with pytest.raises(NoSuchSetup):
        house.sign_off(UNKNOWN)
    with pytest.raises(NoSuchSetup):
        signing_off.detail(house.store, UNKNOWN)


def test_a_decision_stands(house: House) -> None:
    walk = house.signed_off()
    with pytest.raises(DecidedAlready) as refused:
        house.sign_off(walk.setup, by="tomas")
    assert refused.value.fields["by"] == "ines"
    with pytest.raises(DecidedAlready):
        not_accept(house, walk.setup, by="tomas")


def decide_about(house: House, walk: Walk, seen: str, *, accept: bool) -> None:
    """One of the two decisions, by a lead who has read the setup when its fingerprint was this one."""
    decide = signing_off.sign_off if accept else signing_off.not_accept
    decide(
        house.store,
        walk.setup,
        "ines",
        PASSPHRASES["ines"],
        "I have read it.",
        house.clock(),
        seen=seen,
    )


@pytest.mark.parametrize("accept", [True, False])
def test_a_setup_that_got_another_event_since_it_was_read_is_not_decided_about(
    house: House, accept: bool
) -> None:
    walk = house.signed()
    seen = house.seen(walk.setup)
    walk.event("setup.resumed", {"away_ms": 1000}, None)
    assert house.accept(walk.parts)[-1]["outcome"] == "accepted"
    with pytest.raises(SetupChanged):
        decide_about(house, walk, seen, accept=accept)
    assert status(house, walk) == "signed"
    decide_about(house, walk, house.seen(walk.setup), accept=accept)
    assert status(house, walk) == ("signed_off" if accept else "not_accepted")


@pytest.mark.parametrize("accept", [True, False])
def test_a_setup_whose_question_was_answered_since_it_was_read_is_not_decided_about(
    house: House, accept: bool
) -> None:
    walk = asked(house)
    seen = house.seen(walk.setup)
    for question in answering.questions(house.store):
        answer(house, question["id"], by="tomas")
    with pytest.raises(SetupChanged):
        decide_about(house, walk, seen, accept=accept)


def test_a_decision_that_says_nothing_of_what_was_read_is_refused(house: House) -> None:
    walk = house.signed()
    for nothing in ("", "0" * 64):
        with pytest.raises(SetupChanged):
            decide_about(house, walk, nothing, accept=True)


def test_the_ledger_says_what_was_read_before_a_decision(house: House) -> None:
    accepted, refused = house.signed(), house.signed("tomas")
    house.sign_off(accepted.setup)
    read = signing_off.reviewed_now(house.store, refused.setup)
    not_accept(house, refused.setup)
    with house.store.reading():
        (sign_off,) = house.store.ledger.changes(kind="setup.signed_off")
        (not_accepted,) = house.store.ledger.changes(kind="setup.not_accepted")
        ids = [id_ for id_, _ in house.store.events.texts_of(accepted.setup)]
        before = [row["text"] for row in house.store.ledger.changes_of_setup(accepted.setup)][:-1]
    assert json.loads(not_accepted["text"])["data"]["reviewed"] == read
    claim = json.loads(sign_off["text"])["data"]["reviewed"]
    assert claim["events"] == len(ids) == len(accepted.events)
    assert fits(claim, accepted.setup, accepted.sheet_hash, ids, before)


def test_not_accepting_needs_a_reason(house: House) -> None:
    walk = house.signed()
    with pytest.raises(ReasonMissing):
        not_accept(house, walk.setup, reason="  ")
    with pytest.raises(ReasonMissing):
        not_accept(house, walk.setup, reason="x" * 2001)


def test_of_two_leads_who_sign_at_once_one_signs(house: House) -> None:
    walk = house.signed()
    ready, outcomes = threading.Barrier(2), []

    def sign(lead: str) -> None:
        ready.wait()
        try:
            house.sign_off(walk.setup, by=lead)
            outcomes.append("signed")
        except DecidedAlready:
            outcomes.append("too late")
        house.store.close()

    threads = [threading.Thread(target=sign, args=(lead,)) for lead in ("ines", "tomas")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["signed", "too late"]
    with house.store.reading():
        assert len(house.store.ledger.changes(kind="setup.signed_off")) == 1
    assert len(kept(house)) == 3


def test_the_detail_has_every_number_beside_its_limit(house: House) -> None:
    house.signed_off()
    walk = house.signed(values_nm={"X": -381_249_000, "Y": -152_401_000, "Z": -300_050_000})
    rows = {row["axis"]: row for row in signing_off.detail(house.store, walk.setup)["numbers"]}
    assert rows["X"]["difference_nm"] == 1_000
    for row in rows.values():
        assert row["verdict"] == "agrees"
        assert row["values"] == 1
        assert 0 < row["ask_nm"] < row["stop_nm"] <= 500_000


def test_the_detail_gives_each_event_the_number_that_stands_on_its_receipt(house: House) -> None:
    house.signed_off()
    walk = house.walk().through()
    numbers = {one["event"]: one["sequence"] for one in house.accept(walk.parts)}
    shown = signing_off.detail(house.store, walk.setup)["events"]
    assert {one["id"]: one["server_sequence"] for one in shown} == numbers


def test_the_detail_never_holds_a_key_or_a_hash_of_a_secret(house: House) -> None:
    walk = house.signed_off()
    text = repr(signing_off.detail(house.store, walk.setup))
    assert "argon2" not in text
    assert "'jwk'" not in text


def test_an_answer_closes_the_question_and_reaches_the_tablet_s_decisions(house: House) -> None:
    walk = house.walk().start()
    question = walk.question(1, "X")
    house.accept(walk.parts)
    listed = answering.questions(house.store)
    assert [(row["id"], row["person_name"], row["usual"]["values"]) for row in listed] == [
        (question, "Mara Okafor", 0)
    ]
    answer(house, question)
    assert answering.questions(house.store) == []
    assert [row["decision"] for row in answering.questions(house.store, only_open=False)] == ["go_on"]
    state = signing_off.detail(house.store, walk.setup)["state"]
    assert state["questions"][0]["answer"]["reason"] == "The vise was moved."


def test_a_question_is_answered_once(house: House) -> None:
    walk = house.walk().start()
    question = walk.question(1, "X")
    house.accept(walk.parts)
    answer(house, question)
    with pytest.raises(AnsweredAlready) as refused:
        answer(house, question, by="tomas")
    assert refused.value.fields["by"] == "ines"


def test_an_answer_needs_a_reason_a_lead_and_a_decision_that_there_is(house: House) -> None:
    walk = house.walk().start()
    about_axis, about_nothing = walk.question(1, "X"), walk.question(2, None)
    house.accept(walk.parts)
    with pytest.raises(ReasonMissing):
        answer(house, about_axis, reason=" ")
    with pytest.raises(RoleMissing):
        answer(house, about_axis, by="ivo")
    with pytest.raises(DecisionUnknown):
        answer(house, about_axis, decision="perhaps")
    with pytest.raises(DecisionUnknown):
        answer(house, about_nothing, decision="touch_again")
    with pytest.raises(NoSuchQuestion):
        answer(house, UNKNOWN)
    assert len(answering.questions(house.store)) == 2


def test_whoever_ran_a_setup_and_left_it_unsigned_does_not_refuse_it_either(house: House) -> None:
    walk = house.walk("tomas").start().until("sign")
    house.accept(walk.parts)
    with pytest.raises(OwnSetup):
        not_accept(house, walk.setup, by="tomas")
    not_accept(house, walk.setup)
    assert status(house, walk) == "not_accepted"


def test_nobody_answers_the_questions_of_their_own_setup(house: House) -> None:
    walk = house.walk("tomas").start()
    question = walk.question(1, "X")
    house.accept(walk.parts)
    with pytest.raises(OwnSetup):
        answer(house, question, by="tomas")
