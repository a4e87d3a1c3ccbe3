"""A worry reaches the next person: board, next sheet, queue; until a lead closes it."""

import json
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.shop import PINS
from tests.kit.walk import Walk
from webapp.services.decisions import signing_off
from webapp.services.errors import ClosedAlready, HowUnknown, NoSuchWorry, ReasonMissing, RoleMissing
from webapp.services.setups import worrying
from webapp.services.setups.board import board


def raised(house: House, worry: str, about: str | None, text: str = "It touched the jaw.") -> Walk:
    """A setup that was broken off after a worry, stowed and signed."""
    walk = house.walk().start().until("search", "X")
    walk.event("worry.raised", {"worry": worry, "text": text, "about": about}, walk.step["id"])
    walk.event("setup.broken_off", {}, walk.step["id"])
    walk.event("break.explained", {"reason": "probe", "text": ""}, walk.step["id"])
    walk.until("sign").sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    return walk


def sheet(house: House, machine: str = "mill-1") -> Any:
    return json.loads(house.sheet(machine)[1])


def close(
    house: House, by: str = "ines", how: str = "checked", reason: str = "Runs true on the ring."
) -> None:
    (one,) = worrying.open_worries(house.store)
    worrying.close(house.store, one.row.event, by, how, reason, house.clock())


def test_a_machine_whose_probe_hit_something_is_not_left_clear(house: House) -> None:
    walk = raised(house, "hit_something", "probe")
    plover, dunlin = board(house.store, house.clock())
    assert (plover["state"], dunlin["state"]) == ("worry", "unknown")
    (one,) = plover["worries"]
    assert (one.row.text, one.by_name, one.thing_name) == ("It touched the jaw.", "Mara Okafor", "Probe 1")
    assert [each.row.event for each in dunlin["worries"]] == [one.row.event]  # the same probe
    assert [each.row.setup for each in worrying.open_worries(house.store)] == [walk.setup]


def test_the_next_sheet_of_every_machine_with_that_probe_carries_it_in_its_own_words_and_blocks(
    house: House,
) -> None:
    raised(house, "stylus_bent", "probe")
    for machine in ("mill-1", "mill-2"):
        left = sheet(house, machine)["board"]
        (worry,) = left["worries"]
        assert (worry["worry"], worry["about"], worry["blocks"]) == ("stylus_bent", "probe", True)
        assert worry["text"] == "It touched the jaw."
        # A tablet of an earlier version reads `state`, and has to know the word.
        assert left["state"] in {"clear", "probe_in_spindle", "in_use", "unknown"}
        assert left["state"] != "clear"
    assert sheet(house)["board"]["left"] == "worry"


def test_a_worry_about_a_vise_stays_at_its_machine_and_one_about_the_machine_blocks_nothing(
    house: House,
) -> None:
    raised(house, "vise_loose", "vise")
    raised(house, "machine_looks_wrong", "machine")
    worries = sheet(house)["board"]["worries"]
    assert [(one["about"], one["blocks"]) for one in worries] == [("machine", False), ("vise", True)]
    assert sheet(house, "mill-2")["board"]["worries"] == []


def test_a_closed_worry_is_gone_from_board_and_sheet_and_stands_in_its_setup_and_on_the_ledger(
    house: House,
) -> None:
    walk = raised(house, "fell", "probe")
    close(house)
    assert board(house.store, house.clock())[0]["state"] == "clear"
    assert sheet(house)["board"]["worries"] == []
    (worry,) = signing_off.detail(house.store, walk.setup)["state"]["worries"]
    assert worry["closed"]["reason"] == "Runs true on the ring."
    with house.store.reading():
        (row,) = house.store.ledger.changes(kind="worry.closed")
    assert json.loads(row["text"])["data"] == {
        "worry": worry["event"],
        "about": "probe",
        "how": "checked",
        "reason": "Runs true on the ring.",
    }
    assert row["setup"] == walk.setup  # so that the tablet hears of it


def test_a_setup_begun_on_an_older_sheet_meanwhile_shows_the_open_worry_to_whoever_signs_off(
    house: House,
) -> None:
    other = house.walk("tomas")
    walk = raised(house, "fell", "probe")
    other.through().sign(PINS["tomas"], house.keyring)
    house.accept(other.parts)
    (one,) = signing_off.detail(house.store, other.setup)["worries_of_others"]
    assert (one.row.setup, one.row.kind) == (walk.setup, "fell")
    assert signing_off.detail(house.store, walk.setup)["worries_of_others"] == []


def test_worries_that_name_nothing_and_those_of_older_tablets_stand_in_their_setup_alone(
    house: House,
) -> None:
    walk = raised(house, "somebody_in_the_way", None)
    walk.event("hold.pressed", {})
    old = house.walk("tomas").start()
    old.event("worry.raised", {"worry": "probe_looks_wrong", "text": "A scratch."})
    house.accept(old.parts)
    assert worrying.open_worries(house.store) == []
    assert sheet(house)["board"]["worries"] == []


def test_a_worry_is_closed_once_by_a_lead_and_with_words(house: House) -> None:
    raised(house, "fell", "probe")
    (one,) = worrying.open_worries(house.store)
    with pytest.raises(ReasonMissing):
        close(house, reason=" ")
    with pytest.raises(RoleMissing):
        close(house, by="ivo")
    with pytest.raises(HowUnknown):
        close(house, how="forgotten")
    with pytest.raises(NoSuchWorry):
        worrying.close(house.store, "0" * 64, "ines", "checked", "Yes.", house.clock())
    close(house)
    with pytest.raises(ClosedAlready) as refused:
        worrying.close(house.store, one.row.event, "tomas", "reasoned", "No need.", house.clock())
    assert refused.value.fields["by"] == "ines"


def test_events_that_come_again_do_not_open_a_closed_worry(house: House) -> None:
    walk = raised(house, "fell", "probe")
    close(house)
    walk.event("setup.resumed", {"away_ms": 1}, None)
    house.accept(walk.parts)
    assert worrying.open_worries(house.store) == []
