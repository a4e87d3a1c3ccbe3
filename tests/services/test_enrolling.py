"""Tablets come in with a code, prove their key, and are told what concerns them."""

import json
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec

from tests.kit.device import Device
from tests.kit.house import House
from webapp.services.errors import NameRefused, ReasonMissing, RoleMissing
from webapp.services.intake import enrolling
from webapp.services.intake.errors import (
    CodeRefused,
    DeviceDisabled,
    KeyRefused,
    NoSuchDevice,
    NotForked,
    ProofRefused,
)
from webapp.services.people import accounts
from webapp.services.people.errors import TooManyTries

CODE = "8RF3KM9XRB"


def enrol(house: House, device: Device, code: str = CODE, **changes: Any) -> Any:
    given = {
        "name": device.name,
        "jwk": device.jwk,
        "display": "standalone",
        "proof": device.enrol_proof(code),
    }
    given |= changes
    return enrolling.enrol(house.store, house.keyring, code, **given, now=house.clock())


def make_code(house: House, code: str = CODE, by: str = "ines") -> Any:
    return enrolling.make_code(house.store, by, house.clock(), code)


HEALTH = {"persisted": False, "usage_bytes": 12_000_000, "quota_bytes": 3 * 10**9, "skew_ms": -172_800_000}


def health_kept(house: House, device: Device) -> Any:
    with house.store.reading():
        row = house.store.devices.device(device.id)
    return row["health"] if row else "no such tablet"


def request(device: Device, **changes: Any) -> Any:
    payload = {"domain": "zerokeep/request/1", "challenge": "c", "have": [], "setups": [], **changes}
    return device.signed(payload, "zerokeep-request+jws")


def news(house: House, device: Device, **changes: Any) -> Any:
    asked = enrolling.read_request(house.store, request(device, **changes), house.clock())
    return enrolling.news(house.store, house.keyring, asked, house.clock())


def test_a_tablet_with_a_code_and_its_key_is_enrolled_and_told_what_to_pin(house: House) -> None:
    make_code(house)
    device = Device(90_555, "Tablet 2")
    answer = enrol(house, device)
    assert answer["device"] == device.id
    assert answer["receipt_key"] == house.keyring.receipt_jwk
    assert answer["pin_key"] == house.keyring.pin_jwk
    assert answer["shop"] == "Kettle Lane Workshop"
    row = next(row for row in enrolling.devices(house.store) if row["id"] == device.id)
    assert (row["state"], row["pin_key"]) == ("enrolled", house.keyring.pin_key_id)


def test_only_the_hash_of_a_code_is_stored(house: House) -> None:
    make_code(house)
    house.store.close()
    assert CODE.encode() not in house.kept()


def test_blanks_hyphens_and_small_letters_in_a_code_do_not_matter(house: House) -> None:
    make_code(house)
    assert enrol(house, Device(90_555), code=" 8rf3k-m9xrb ")["device"]


def test_an_unknown_a_used_and_an_old_code_are_refused_alike(house: House) -> None:
    with pytest.raises(CodeRefused):
        enrol(house, Device(90_555))
    make_code(house)
    enrol(house, Device(90_555))
    with pytest.raises(CodeRefused):
        enrol(house, Device(90_556))
    make_code(house, "9RF3KM9XRB")
    house.clock.forward(minutes=11)
    with pytest.raises(CodeRefused):
        enrol(house, Device(90_557), code="9RF3KM9XRB")


def test_a_code_of_a_lead_who_is_none_any_more_takes_no_tablet_in(house: House) -> None:
    enrolling.make_code(house.store, "tomas", house.clock(), CODE)
    accounts.disable_person(house.store, "tomas", "Left the shop.", "ines", house.clock())
    with pytest.raises(CodeRefused):
        enrol(house, Device(90_555))
    accounts.enable_person(house.store, "tomas", "Came back.", "ines", house.clock())
    accounts.change_roles(house.store, "tomas", ["operator"], "ines", house.clock())
    with pytest.raises(CodeRefused):
        enrol(house, Device(90_555))
    accounts.change_roles(house.store, "tomas", ["lead"], "ines", house.clock())
    assert enrol(house, Device(90_555))["device"]


def test_a_code_is_good_up_to_the_moment_that_is_said_and_not_after_it(house: House) -> None:
    until_utc = make_code(house)["until_utc"]
    make_code(house, "9RF3KM9XRB")
    house.clock.forward(minutes=10)
    assert house.clock.text == until_utc
    assert enrol(house, Device(90_555))["device"]
    house.clock.forward(milliseconds=1)
    with pytest.raises(CodeRefused):
        enrol(house, Device(90_556), code="9RF3KM9XRB")


@pytest.mark.parametrize("name", ["A", "x" * 60])
def test_the_shortest_and_the_longest_name_are_taken(house: House, name: str) -> None:
    make_code(house)
    assert enrol(house, Device(90_555, name))["device"]


def test_guessing_codes_is_made_to_wait(house: House) -> None:
    refusals = []
    for number in range(25):
        with pytest.raises((CodeRefused, TooManyTries)) as refused:
            enrol(house, Device(90_555), code=f"GUESS{number:05d}")
        refusals.append(refused.type)
    assert refusals == [CodeRefused] * 21 + [TooManyTries] * 4


def test_only_a_lead_makes_a_code(house: House) -> None:
    with pytest.raises(RoleMissing):
        make_code(house, by="mara")


def test_a_proof_by_another_key_over_another_code_or_name_is_refused(house: House) -> None:
    make_code(house)
    device, other = Device(90_555), Device(90_556)
    for proof in (
        other.enrol_proof(CODE),
        device.enrol_proof("OTHER"),
        device.enrol_proof(CODE, "Other name"),
        "x",
    ):
        with pytest.raises(ProofRefused):
            enrol(house, device, proof=proof)
    assert enrol(house, device)


def test_only_a_public_p_256_key_is_taken(house: House) -> None:
    make_code(house)
    device = Device(90_555)
    numbers = ec.derive_private_key(5, ec.SECP384R1()).public_key().public_numbers()
    wrong = [
        {**device.jwk, "crv": "P-384"},
        {**device.jwk, "d": "AA"},
        {**device.jwk, "kid": "x" * 43},
        {**device.jwk, "x": device.jwk["y"]},
        {"kty": "EC", "crv": "P-256", "x": str(numbers.x)[:43], "y": str(numbers.y)[:43]},
        {},
    ]
    for jwk in wrong:
        with pytest.raises(KeyRefused):
            enrol(house, device, jwk=jwk)


def test_a_key_is_enrolled_once(house: House) -> None:
    make_code(house)
    with pytest.raises(KeyRefused):
        enrol(house, house.device)


@pytest.mark.parametrize(
    "change", [{"name": ""}, {"name": "x" * 61}, {"name": "a\nb"}, {"display": "poster"}]
)
def test_a_name_or_display_that_cannot_be_is_refused(house: House, change: dict[str, str]) -> None:
    make_code(house)
    with pytest.raises(NameRefused):
        enrol(house, Device(90_555), **change)


def test_enrolling_outside_the_installed_app_is_noted(house: House) -> None:
    make_code(house)
    enrol(house, Device(90_555), display="browser")
    with house.store.reading():
        assert len(house.store.ledger.changes(kind="device.display_override")) == 1


def test_disabling_needs_a_lead_a_reason_and_a_tablet(house: House) -> None:
    with pytest.raises(RoleMissing):
        enrolling.disable(house.store, house.device.id, "mara", "Lost.", house.clock())
    with pytest.raises(ReasonMissing):
        enrolling.disable(house.store, house.device.id, "ines", " ", house.clock())
    with pytest.raises(NoSuchDevice):
        enrolling.disable(house.store, "x" * 43, "ines", "Lost.", house.clock())


def test_a_disabled_tablet_stays_disabled_and_is_told_so_and_nothing_else(house: House) -> None:
    enrolling.disable(house.store, house.device.id, "ines", "Lost.", house.clock())
    with pytest.raises(DeviceDisabled):
        enrolling.clear_fork(house.store, house.device.id, "ines", "Found.", house.clock())
    assert news(house, house.device) == {"sheets": [], "decisions": [], "device": {"state": "disabled"}}


def test_a_tablet_that_never_split_has_no_fork_to_clear(house: House) -> None:
    with pytest.raises(NotForked):
        enrolling.clear_fork(house.store, house.device.id, "ines", "Just so.", house.clock())


def test_news_bring_every_machine_s_sheet_without_the_text_of_those_it_has(house: House) -> None:
    first = news(house, house.device)
    assert [json.loads(sheet["text"])["machine"]["id"] for sheet in first["sheets"]] == ["mill-1", "mill-2"]
    have = [first["sheets"][0]["hash"]]
    second = news(house, house.device, have=have)
    assert [sheet["text"] is None for sheet in second["sheets"]] == [True, False]


def test_news_bring_the_decisions_of_own_setups_only(house: House) -> None:
    walk = house.signed_off()
    texts = [json.loads(text)["type"] for text in news(house, house.device, setups=[walk.setup])["decisions"]]
    assert texts[0] == "signature.verified"
    assert texts[-1] == "setup.signed_off"
    other = Device(90_555, "Tablet 2")
    other.enrol(house.store, house.keyring, house.clock, code=CODE)
    assert news(house, other, setups=[walk.setup])["decisions"] == []


def second_tablet(house: House) -> Device:
    other = Device(90_556, "By the window")
    other.enrol(house.store, house.keyring, house.clock, code=CODE)
    return other


def test_two_tablets_with_a_setup_at_one_machine_are_told_of_each_other_as_long_as_both_run(
    house: House,
) -> None:
    mine = house.walk().start()
    house.accept(mine.parts)
    assert "also" not in news(house, house.device, setups=[mine.setup])
    other = second_tablet(house)
    theirs = house.walk(device=other).start()
    house.accept(theirs.parts)
    told = [{"machine": "mill-1", "tablet": "By the window"}]
    assert news(house, house.device, setups=[mine.setup])["also"] == told
    assert [one["tablet"] for one in news(house, other, setups=[theirs.setup])["also"]] == ["Tablet 1"]
    assert "also" not in news(house, house.device), "this tablet has no setup under way that it asks about"
    assert "also" not in news(house, house.device, setups=[theirs.setup]), "another's setup is not its own"
    theirs.event("setup.left", {}, None)
    house.accept(theirs.parts)
    assert "also" not in news(house, house.device, setups=[mine.setup])


def test_a_setup_that_nobody_went_on_with_for_hours_is_not_told_as_another_at_the_machine(
    house: House,
) -> None:
    other = second_tablet(house)
    house.accept(house.walk(device=other).start().parts)
    house.clock.forward(hours=3)
    mine = house.walk().start()
    house.accept(mine.parts)
    assert "also" not in news(house, house.device, setups=[mine.setup])


def test_a_request_that_is_not_signed_by_an_enrolled_tablet_is_refused(house: House) -> None:
    stranger = Device(90_777)
    for text in (request(stranger), request(house.device)[:-4] + "AAAA", "x", "a.b.c"):
        with pytest.raises(ProofRefused):
            enrolling.read_request(house.store, text, house.clock())


@pytest.mark.parametrize(
    "change",
    [
        {"domain": "zerokeep/enrol/1"},
        {"more": 1},
        {"have": "x"},
        {"setups": [1]},
        {"health": None},
        {"health": {}},
        {"health": {**HEALTH, "more": 1}},
        {"health": {**HEALTH, "persisted": 1}},
        {"health": {**HEALTH, "usage_bytes": -1}},
        {"health": {**HEALTH, "quota_bytes": 1.5}},
        {"health": {**HEALTH, "usage_bytes": True}},
        {"health": {**HEALTH, "skew_ms": "0"}},
        {"health": {name: value for name, value in HEALTH.items() if name != "skew_ms"}},
    ],
)
def test_a_request_of_another_shape_is_refused(house: House, change: dict[str, object]) -> None:
    with pytest.raises(ProofRefused):
        enrolling.read_request(house.store, request(house.device, **change), house.clock())


def test_what_a_tablet_says_of_its_storage_and_clock_is_kept_the_newest_only(house: House) -> None:
    assert health_kept(house, house.device) is None
    news(house, house.device, health=HEALTH)
    assert health_kept(house, house.device) == HEALTH
    unknown = {"persisted": None, "usage_bytes": None, "quota_bytes": None, "skew_ms": None}
    news(house, house.device, health=unknown)
    assert health_kept(house, house.device) == unknown


def test_a_request_of_the_version_before_is_read_and_leaves_what_was_said(house: House) -> None:
    news(house, house.device, health=HEALTH)
    assert news(house, house.device)["device"] == {"state": "enrolled"}
    assert health_kept(house, house.device) == HEALTH


@pytest.mark.parametrize(
    ("kept_ms", "told_ms", "is_noted"),
    [
        (None, 500, True),
        (500, None, True),
        (None, None, False),
        (500, 1_500, False),
        (500, 1_501, True),
        (500, -501, True),
    ],
)
def test_a_clock_that_moved_by_more_than_a_second_is_noted_at_once(
    house: House, kept_ms: int | None, told_ms: int | None, is_noted: bool
) -> None:
    """Told within a minute of the last request, so that nothing else is worth a write."""
    news(house, house.device, health={**HEALTH, "skew_ms": kept_ms})
    news(house, house.device, health={**HEALTH, "skew_ms": told_ms})
    assert health_kept(house, house.device)["skew_ms"] == (told_ms if is_noted else kept_ms)


def test_the_first_word_of_a_tablets_health_and_another_about_its_storage_are_kept_at_once(
    house: House,
) -> None:
    news(house, house.device)
    news(house, house.device, health=HEALTH)
    assert health_kept(house, house.device) == HEALTH
    news(house, house.device, health={**HEALTH, "persisted": True})
    assert health_kept(house, house.device) == {**HEALTH, "persisted": True}
    news(house, house.device, health={**HEALTH, "persisted": True, "usage_bytes": 0})
    assert health_kept(house, house.device) == {**HEALTH, "persisted": True}


def test_when_a_tablet_was_heard_of_is_written_down_once_a_minute(house: House) -> None:
    def seen() -> str | None:
        with house.store.reading():
            row = house.store.devices.device(house.device.id)
        return row["last_seen_at_utc"] if row else None

    news(house, house.device)
    first = seen()
    assert first == house.clock.text
    house.clock.forward(seconds=59)
    news(house, house.device)
    assert seen() == first
    house.clock.forward(seconds=1)
    news(house, house.device)
    assert seen() == house.clock.text != first
    house.clock.forward(hours=-1)  # a server's clock that was set back
    news(house, house.device)
    assert seen() == house.clock.text


def test_health_that_is_malformed_is_not_kept(house: House) -> None:
    with pytest.raises(ProofRefused):
        news(house, house.device, health={**HEALTH, "persisted": "yes"})
    assert health_kept(house, house.device) is None
