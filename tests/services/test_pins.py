"""A signature is made with a PIN that travels sealed, is checked once, and leaves nothing behind."""

from dataclasses import replace
from typing import Any

import pytest

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import PASSPHRASES, PINS
from tests.kit.walk import Walk
from webapp.services.intake import intake
from webapp.services.people import access, accounts, rights
from webapp.services.people.errors import SecretNotChecked
from webapp.services.setups import pins, stored_setups

WRONG = "364859"


def sign(house: House, walk: Walk, pin: str, **bound: Any) -> Any:
    walk.until("sign")
    walk.sign(pin, house.keyring, **bound)
    return house.accept(walk.parts)[-1]


def signatures(house: House, walk: Walk) -> Any:
    with house.store.reading():
        return stored_setups.fold_stored(house.store, walk.setup)["signatures"]


def everything_stored(house: House) -> Any:
    house.store.close()
    return house.kept()


def test_the_right_pin_verifies_the_signature(house: House) -> None:
    walk = house.walk().start()
    receipt = sign(house, walk, PINS["mara"])
    assert (receipt["outcome"], receipt["signature"]) == ("accepted", "verified")
    assert signatures(house, walk)[-1]["state"] == "verified"


def test_sending_it_again_gives_the_same_answer_and_makes_no_second_decision(house: House) -> None:
    walk = house.walk().start()
    first = sign(house, walk, PINS["mara"])
    again = house.accept(walk.parts)[-1]
    assert (again["outcome"], again["signature"]) == ("already_had", first["signature"])
    with house.store.reading():
        assert len(house.store.ledger.changes(kind="signature.verified")) == 1


def test_a_wrong_pin_makes_the_setup_need_a_signature_again(house: House) -> None:
    walk = house.walk().start()
    assert sign(house, walk, WRONG)["signature"] == "wrong_pin"
    with house.store.reading():
        state = stored_setups.fold_stored(house.store, walk.setup)
        row = house.store.setups.setup(walk.setup)
    assert (state["status"], row["status"], row["signature"]) == ("finished", "finished", "refused")
    assert state["current_step"] == _sign_step(walk)
    assert state["signatures"][-1]["refused_because"] == "wrong_pin"


def test_after_a_wrong_pin_a_new_signature_can_be_made(house: House) -> None:
    walk = house.walk().start()
    sign(house, walk, WRONG)
    event = walk.event("setup.signed", {"meaning": "performed"}, _sign_step(walk))
    house.device.sent[-1]["pin"] = house.device.seal(PINS["mara"], event["id"], "mara", house.keyring)
    assert house.accept([house.device.sent[-1]])[0]["signature"] == "verified"
    with house.store.reading():
        state = stored_setups.fold_stored(house.store, walk.setup)
        row = house.store.setups.setup(walk.setup)
    assert (state["status"], row["status"], row["signature"]) == ("signed", "signed", "verified")


def test_the_same_event_with_another_seal_is_no_new_try(house: House) -> None:
    walk = house.walk().start()
    sign(house, walk, WRONG)
    part = walk.parts[-1]
    seal = house.device.seal(PINS["mara"], walk.events[-1]["id"], "mara", house.keyring)
    assert house.accept([{**part, "pin": seal}])[0]["signature"] == "wrong_pin"


def test_a_signature_without_a_seal_is_refused(house: House) -> None:
    walk = house.walk().start().until("sign")
    walk.event("setup.signed", {"meaning": "performed"}, walk.step["id"])
    assert house.accept(walk.parts)[-1]["signature"] == "seal_missing"


def signed_walk(house: House) -> Walk:
    walk = house.walk().start().until("sign")
    walk.sign(PINS["mara"], house.keyring)
    return walk


def bare(part: dict[str, Any]) -> dict[str, Any]:
    return {**part, "pin": None}


def test_an_upload_without_the_seal_does_not_spoil_the_one_that_has_it(house: House) -> None:
    walk = signed_walk(house)
    house.accept([*walk.parts[:-1], bare(walk.parts[-1])])
    assert signatures(house, walk)[-1]["refused_because"] == "seal_missing"
    assert house.accept(walk.parts)[-1]["signature"] == "verified"
    assert signatures(house, walk)[-1]["state"] == "verified"
    assert house.accept([bare(walk.parts[-1])])[-1]["signature"] == "verified"


def test_a_seal_that_does_not_fit_spoils_nothing_and_is_written_down_once(house: House) -> None:
    walk = signed_walk(house)
    house.accept(walk.parts[:-1])
    for number in range(3):
        house.accept([{**walk.parts[-1], "pin": f"not.a.seal{number}"}])
    with house.store.reading():
        assert len(house.store.ledger.changes(kind="signature.refused")) == 1
    assert house.accept(walk.parts[-1:])[-1]["signature"] == "verified"


def test_with_and_without_the_seal_in_one_upload_is_one_decision(house: House) -> None:
    walk = signed_walk(house)
    house.accept([*walk.parts[:-1], bare(walk.parts[-1]), walk.parts[-1]])
    assert signatures(house, walk)[-1]["state"] == "verified"
    with house.store.reading():
        assert house.store.ledger.changes(kind="signature.refused") == []


def test_a_copy_with_another_signature_decides_nothing_about_the_pin(house: House) -> None:
    walk = signed_walk(house)
    signed, pin = walk.parts[-1]["jws"].rpartition(".")[0], walk.parts[-1]["pin"]
    house.accept([*walk.parts[:-1], bare(walk.parts[-1])])
    guess = house.device.seal(WRONG, walk.events[-1]["id"], "mara", house.keyring)
    for jws in (f"{signed}.{'A' * 86}", f"{signed}."):
        assert house.accept([{"jws": jws, "pin": guess}])[-1]["signature"] == "seal_missing"
    assert house.accept([{**walk.parts[-1], "pin": pin}])[-1]["signature"] == "verified"


def test_of_several_seals_of_one_signature_the_first_that_opens_counts_in_whatever_place(
    house: House,
) -> None:
    walk = signed_walk(house)
    right, event = walk.parts[-1], walk.events[-1]["id"]
    wrong = {**right, "pin": house.device.seal("135790", event, "mara", house.keyring)}
    cannot_be_opened = {**right, "pin": "no seal at all"}
    receipts = house.accept([*walk.parts[:-1], cannot_be_opened, right, wrong])
    assert {one["signature"] for one in receipts[-3:]} == {"verified"}


@pytest.mark.parametrize(
    ("lead", "answer"),
    [
        ("ines", "verified"),
        ("tomas", "person_disabled"),
        ("ivo", "not_authorised"),
        ("nobody", "not_authorised"),
    ],
)
def test_a_stop_is_lifted_by_the_pin_of_a_lead_in_use_and_of_nobody_else(
    house: House, lead: str, answer: str
) -> None:
    accounts.disable_person(house.store, "tomas", "Left the shop.", "ines", house.clock())
    walk = house.walk().start()
    data = {"axis": "X", "lead": lead, "decision": "go_on", "reason": "Seen."}
    event = walk.event("stop.lifted", data)["id"]
    walk.parts[-1]["pin"] = house.device.seal(PINS.get(lead, "583947"), event, lead, house.keyring)
    assert house.accept(walk.parts)[-1]["signature"] == answer


def test_a_seal_that_comes_after_a_second_signature_changes_nothing(house: House) -> None:
    walk = signed_walk(house)
    house.accept([*walk.parts[:-1], bare(walk.parts[-1])])
    first = walk.parts[-1]
    walk.event("setup.signed", {"meaning": "performed"}, _sign_step(walk))
    second = {
        **walk.parts[-1],
        "pin": house.device.seal(PINS["mara"], walk.events[-1]["id"], "mara", house.keyring),
    }
    assert house.accept([second])[-1]["signature"] == "verified"
    assert house.accept([first])[-1]["signature"] == "seal_missing"
    assert [one["state"] for one in signatures(house, walk)] == ["refused", "verified"]


def test_a_seal_kept_for_later_outlives_a_copy_without_one(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk = signed_walk(house)

    def no_memory(*_: object) -> str:
        raise SecretNotChecked

    with monkeypatch.context() as patched:
        patched.setattr(pins, "verify_pin", no_memory)
        house.accept(walk.parts)
        house.accept([bare(walk.parts[-1])])
    intake.check_pending_seals(house.store, house.keyring, house.clock())
    assert signatures(house, walk)[-1]["state"] == "verified"


@pytest.mark.parametrize(
    "bound",
    [{"event_id": "a" * 64}, {"device_id": "B" * 43}, {"person_id": "tomas"}],
    ids=lambda one: next(iter(one)),
)
def test_a_seal_moved_from_elsewhere_is_refused(house: House, bound: dict[str, str]) -> None:
    assert sign(house, house.walk().start(), PINS["mara"], **bound)["signature"] == "seal_wrong"


def test_a_seal_that_is_no_seal_is_refused(house: House) -> None:
    walk = house.walk().start().until("sign")
    walk.sign(PINS["mara"], house.keyring)
    walk.parts[-1]["pin"] = "not.a.seal"
    assert house.accept(walk.parts)[-1]["signature"] == "seal_wrong"


def test_somebody_who_was_disabled_while_offline_cannot_sign(house: House) -> None:
    walk = house.walk().start().until("sign")
    accounts.disable_person(house.store, "mara", "Left the school.", "ines", house.clock())
    walk.sign(PINS["mara"], house.keyring)
    assert house.accept(walk.parts)[-1]["signature"] == "person_disabled"


def test_an_authorisation_that_was_withdrawn_in_between_does_not_sign(house: House) -> None:
    walk = house.walk().start().until("sign")
    walk.sign(PINS["mara"], house.keyring)
    rights.withdraw(
        house.store, "mara", "mill-1", "Needs the course again.", "ines", house.clock.forward(hours=1)
    )
    assert house.accept(walk.parts)[-1]["signature"] == "not_authorised"


def test_an_authorisation_that_ended_before_the_claimed_time_does_not_sign(house: House) -> None:
    walk = house.walk("ivo").start().until("sign")
    house.clock.forward(hours=12)
    walk.sign(PINS["ivo"], house.keyring)
    assert house.accept(walk.parts)[-1]["signature"] == "not_authorised"


def test_a_first_pin_that_was_not_changed_signs_nothing(house: House) -> None:
    access.set_first_secrets(
        house.store, house.keyring, "mara", "ines", house.clock(), "brittle cobalt umbrella morning", "271936"
    )
    assert sign(house, house.walk().start(), "271936")["signature"] == "pin_not_changed"


def test_no_seal_and_no_pin_is_in_the_store_afterwards(house: House) -> None:
    walk = house.walk().start()
    sign(house, walk, PINS["mara"])
    part = walk.parts[-1]
    data = everything_stored(house)
    assert not [one for one in part["pin"].split(".")[1:] if one.encode() in data]
    assert PINS["mara"].encode() not in data


def test_a_seal_that_could_not_be_checked_is_kept_and_erased_with_the_check(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk = house.walk().start().until("sign")
    walk.sign(PINS["mara"], house.keyring)

    def no_memory(*_: object) -> str:
        raise SecretNotChecked

    with monkeypatch.context() as patched:
        patched.setattr(pins, "verify_pin", no_memory)
        assert house.accept(walk.parts)[-1]["signature"] is None
    seal = walk.parts[-1]["pin"].encode()
    with house.store.reading():
        assert house.store.events.pending_seals()
    assert seal not in everything_stored(house)
    assert intake.check_pending_seals(house.store, house.keyring, house.clock()) == 1
    assert signatures(house, walk)[-1]["state"] == "verified"
    assert seal not in everything_stored(house)


def test_of_a_thousand_guesses_sealed_offline_four_are_looked_at(house: House) -> None:
    walk = house.walk().start()
    sign(house, walk, WRONG)
    step = _sign_step(walk)
    for number in range(60):
        event = walk.event("setup.signed", {"meaning": "performed"}, step)
        guess = f"{640000 + 37 * number}"
        house.device.sent[-1]["pin"] = house.device.seal(guess, event["id"], "mara", house.keyring)
    moment = house.clock()
    receipts = intake.accept(house.store, house.keyring, walk.parts, moment)
    answers = [receipt["signature"] for receipt in receipts]
    assert answers.count("wrong_pin") == 4
    assert set(answers) == {None, "wrong_pin", "throttled"}


def test_throttling_outlives_a_restart(house: House) -> None:
    walk = house.walk().start()
    sign(house, walk, WRONG)
    step = _sign_step(walk)
    for number in range(4):
        _sign_again(house, walk, step, f"{640000 + 37 * number}")
    again = House(house.folder, house.keyring, loaded=True, address=house.store._address)
    again.clock.moment = house.clock.moment
    event = walk.event("setup.signed", {"meaning": "performed"}, step)
    part = {
        **house.device.sent[-1],
        "pin": house.device.seal(PINS["mara"], event["id"], "mara", house.keyring),
    }
    assert again.accept([part])[0]["signature"] == "throttled"
    again.store.close()


def test_somebody_whose_pin_was_guessed_at_can_sign_on_another_tablet(house: House) -> None:

    walk = house.walk().start()
    sign(house, walk, WRONG)
    step = _sign_step(walk)
    for number in range(6):
        _sign_again(house, walk, step, f"{640000 + 37 * number}")
    other = Device(90_555, "Tablet 2")
    other.enrol(house.store, house.keyring, house.clock, code="8RF3KM9XRB")
    second = house.walk(device=other).start()
    assert sign(house, second, PINS["mara"])["signature"] == "verified"


def test_ten_wrong_pins_in_a_row_stop_it_until_the_passphrase_is_shown(house: House) -> None:

    store, keyring = house.store, house.keyring
    answers = []
    for number in range(14):
        now = house.clock.forward(days=2)
        tablet = f"tablet {number % 2}"
        answers.append(access.verify_pin(store, keyring, "mara", tablet, f"setup {number}", WRONG, now))
    assert answers == ["wrong_pin"] * 10 + ["throttled"] * 4
    now = house.clock.forward(days=30)
    assert access.verify_pin(store, keyring, "mara", "tablet 0", "setup 99", PINS["mara"], now) == "throttled"
    access.sign_in(store, "mara", PASSPHRASES["mara"], now, "token")
    assert access.verify_pin(store, keyring, "mara", "tablet 0", "setup 99", PINS["mara"], now) == "verified"


def test_a_signature_by_somebody_else_than_the_operator_does_not_count(house: House) -> None:
    walk = house.walk().start().until("sign")
    event = walk.event("setup.signed", {"meaning": "performed"}, walk.step["id"], person="tomas")
    house.device.sent[-1]["pin"] = house.device.seal(PINS["tomas"], event["id"], "tomas", house.keyring)
    receipt = house.accept(walk.parts)[-1]
    assert receipt["signature"] is None
    assert receipt["problems"] != []
    assert signatures(house, walk) == []


def test_a_signature_out_of_its_step_is_not_looked_at(house: House) -> None:
    walk = house.walk().start()
    event = walk.event("setup.signed", {"meaning": "performed"}, "sign.sign")
    house.device.sent[-1]["pin"] = house.device.seal(PINS["mara"], event["id"], "mara", house.keyring)
    assert house.accept(walk.parts)[-1]["signature"] is None


def test_a_database_alone_does_not_tell_a_pin(house: House) -> None:
    other_pepper = replace(house.keyring, pepper=bytes(32))
    assert (
        access.verify_pin(house.store, other_pepper, "mara", "t", "s", PINS["mara"], house.clock())
        == "wrong_pin"
    )


def _sign_step(walk: Walk) -> Any:
    return next(
        step["id"]
        for stage in walk.sheet["procedure"]["stages"]
        for step in stage["steps"]
        if step["kind"] == "sign"
    )


def _sign_again(house: House, walk: Walk, step: str, pin: str) -> Any:
    event = walk.event("setup.signed", {"meaning": "performed"}, step)
    house.device.sent[-1]["pin"] = house.device.seal(pin, event["id"], "mara", house.keyring)
    return house.accept([house.device.sent[-1]])[0]
