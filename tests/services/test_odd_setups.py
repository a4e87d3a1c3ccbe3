"""A list that is signed by one passphrase never takes along a setup with something odd about it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import PASSPHRASES
from tests.kit.walk import Walk
from tests.services.test_alarms import report
from tests.services.test_worrying import raised
from webapp.domain.plain.errors import Finding
from webapp.services.decisions import signing_off
from webapp.services.decisions.errors import NotPlain
from webapp.services.intake import alarms, enrolling
from webapp.services.setups import closing, pacing
from webapp.words import say

WORRY = {"worry": "machine_looks_wrong", "text": "It hums.", "about": "machine"}


def plain_one(house: House) -> Walk:
    """A vise with a usual, and a plain setup that waits."""
    house.signed_off()
    house.clock.forward(minutes=10)
    return house.signed()


def closes(house: House, walk: Walk) -> None:
    closing.close(house.store, walk.sheet["machine"]["id"], "The way cover is torn.", "ines", house.clock())


def worries(house: House, _: Walk) -> None:
    raised(house, "fell", "probe")


def forks(house: House, walk: Walk) -> None:
    """The tablet was copied: another event with one of the setup's own numbers."""
    last = walk.events[-1]
    twin = Device(house.device.number, "Tablet 1", last["sequence"] - 1, last["previous"])
    envelope = {name: last[name] for name in ("person", "sheet", "setup", "at_utc")}
    twin.event("setup.resumed", {"away_ms": 7}, **envelope)
    assert house.accept(twin.sent)[0]["outcome"] == "accepted"
    enrolling.clear_fork(house.store, house.device.id, "ines", "Brought back from a backup.", house.clock())


def reports(house: House, _: Walk) -> None:
    with house.store.reading():
        device = house.store.devices.device(house.device.id)
    assert device is not None
    alarms.take(house.store, device, report(house, 1), house.clock())


def disables(house: House, _: Walk) -> None:
    enrolling.disable(house.store, house.device.id, "ines", "Lost.", house.clock())


def signed_together(house: House, walk: Walk) -> list[str]:
    """Codes of what kept it out of the list, none for one that was signed."""
    read = [(walk.setup, house.seen(walk.setup))]
    (one,) = signing_off.sign_off_together(house.store, read, "ines", PASSPHRASES["ines"], house.clock())
    if one.refused is None:
        return []
    assert isinstance(one.refused, NotPlain)
    return said(one.refused.faults)


def said(found: Sequence[Finding]) -> list[str]:
    assert all(say(one.code, one.fields) for one in found)
    return [one.code for one in found]


def queued(house: House, walk: Walk) -> tuple[bool, list[str]]:
    (one,) = (one for one in signing_off.queue(house.store) if one["id"] == walk.setup)
    return one["plain"], said(one["oddities"])


def test_a_plain_setup_has_nothing_odd_and_is_signed_in_a_list(house: House) -> None:
    walk = plain_one(house)
    assert queued(house, walk) == (True, [])
    assert said(signing_off.detail(house.store, walk.setup)["oddities"]) == []
    assert signed_together(house, walk) == []


@pytest.mark.parametrize(
    ("make_odd", "code"),
    [
        (worries, "oddity.worries_of_others"),
        (closes, "oddity.machine_closed"),
        (reports, "oddity.alarms"),
        (disables, "oddity.tablet_disabled"),
    ],
)
def test_what_others_know_of_a_setup_marks_it_everywhere_and_keeps_it_out_of_the_list(
    house: House, make_odd: Callable[[House, Walk], Any], code: str
) -> None:
    walk = plain_one(house)
    make_odd(house, walk)
    assert queued(house, walk) == (False, [code])
    assert said(signing_off.detail(house.store, walk.setup)["oddities"]) == [code]
    assert signed_together(house, walk) == [code]
    house.sign_off(walk.setup)


def test_a_worry_about_another_machine_or_of_the_setup_itself_is_no_worry_of_others(house: House) -> None:
    walk = plain_one(house)
    elsewhere = Walk(house.device, house.clock, house.sheet("mill-2"), "mara", 77).start()
    elsewhere.event("worry.raised", WORRY, elsewhere.step["id"])
    assert not house.accept(elsewhere.parts)[-1]["problems"]
    assert queued(house, walk) == (True, [])
    its_own = raised(house, "vise_loose", "vise")
    assert "oddity.worries_of_others" not in queued(house, its_own)[1]
    assert queued(house, walk) == (False, ["oddity.worries_of_others"])


def test_a_history_that_splits_keeps_a_setup_out_though_the_tablet_is_in_use_again(house: House) -> None:
    walk = plain_one(house)
    forks(house, walk)
    assert "oddity.forks" in queued(house, walk)[1]
    assert "oddity.forks" in signed_together(house, walk)


def test_an_event_of_the_setup_that_was_set_aside_keeps_it_out(house: House) -> None:
    walk = plain_one(house)
    other = house.walk().start()
    question = other.question(1, None)
    house.accept(other.parts)
    last = walk.events[-1]
    envelope = {name: last[name] for name in ("person", "sheet", "setup")}
    data = {"question": question, "axis": None, "text": "Another's."}
    house.device.event("question.put", data, at_utc=house.clock.text, **envelope)
    assert house.accept(house.device.sent[-1:])[0]["code"] == "intake.question_of_other_setup"
    assert "oddity.problems" in queued(house, walk)[1]
    assert "oddity.problems" in signed_together(house, walk)


def test_a_pace_that_nobody_reads_at_keeps_a_setup_out_of_the_list_as_well(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk = plain_one(house)
    marked_times = pacing.marked_times

    def fast(*times: Any) -> Any:
        return [{**one, "is_marked": place == 0} for place, one in enumerate(marked_times(*times))]

    monkeypatch.setattr(pacing, "marked_times", fast)
    assert queued(house, walk) == (False, ["oddity.fast_steps"])
    assert signed_together(house, walk) == ["oddity.fast_steps"]


def test_the_first_values_of_a_seating_are_decided_about_on_the_setup_s_own_page(house: House) -> None:
    walk = house.signed()
    assert {"oddity.first_now", "oddity.nothing_to_compare"} <= set(signed_together(house, walk))
