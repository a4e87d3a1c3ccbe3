"""What stands under a record's title, who was authorised until when, and the probe's last check."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.record.made_up import TALES
from webapp.domain.evidence.event_kinds import WorryKind
from webapp.domain.record.facts import record_facts
from webapp.domain.record.not_plain import not_plain
from webapp.domain.record.numbers import authorised, probe_check
from webapp.domain.record.story import Story
from webapp.domain.setup.fold import fold
from webapp.domain.setup.trouble.worries import RULES
from webapp.words import say


def story(tale: str = "normal", **changes: Any) -> Story:
    """The story of a made-up setup, with parts of its folded state replaced."""
    bundle = TALES[tale]().bundle()
    sheet, events = bundle.sheet(), bundle.decoded_events()
    state: Any = {**fold(sheet, events, bundle.decoded_decisions()), **changes}
    return Story(sheet, {event["id"]: event for event in events}, state, {})


def plain() -> Story:
    """The same with old values as last seen."""
    copied: Any = story().state["copied"]
    return story(copied={**copied, "compared": dict.fromkeys("XYZ", "same")})


def codes(one: Story) -> list[str]:
    return [found.code.removeprefix("record.not_plain_") for found in not_plain(one)]


def test_a_plain_setup_has_nothing_under_its_title() -> None:
    assert not_plain(plain()) == ()


@pytest.mark.parametrize(
    ("tale", "found"),
    [
        ("normal", ["copy_changed"]),
        ("asked", ["copy_changed", "worry"]),
        ("stopped", ["copy_changed"]),
    ],
)
def test_what_was_not_plain_is_named(tale: str, found: list[str]) -> None:
    """A sheet of the first format says of a stop what it said then."""
    assert codes(story(tale)) == found


def test_a_stop_after_which_another_touch_agreed_is_named_first() -> None:
    about = {"values_nm": [], "labels": [], "event": "e", "at_utc": "2026-11-25T08:00:00.000Z"}
    remarks = [{"kind": "stop_then_agrees", "axis": "X", "by": None, **about}]
    assert codes(story("stopped", remarks=remarks)) == ["stop_then_agrees", "copy_changed"]


def test_a_stop_that_was_kept_names_who_said_so_and_what_is_not_usable_comes_first() -> None:
    about = {"values_nm": [], "labels": [], "event": "e", "at_utc": "2026-11-25T08:00:00.000Z"}
    remarks = [
        {"kind": "stop_kept", "axis": "X", "by": "ines", **about},
        {"kind": "two_readings", "axis": "Y", "by": None, **about},
        {"kind": "not_usable", "axis": "Z", "by": None, **about},
    ]
    copied = plain().state["copied"]
    found = not_plain(story(remarks=remarks, copied=copied))
    assert [say(one.code, one.fields) for one in found] == [
        "not usable: Z stayed past the stop line",
        "X past the stop line, kept by the word of ines",
        "Y read again with another value",
    ]


def test_an_accepted_value_that_stayed_out_of_the_usual_is_said_and_an_older_sign_off_let_all_in() -> None:
    base, copied = plain().state, plain().state["copied"]
    values = {"X": 1, "Y": 2, "Z": 3}
    for into_usual, found in ((["X", "Z"], ["stayed_out"]), (["X", "Y", "Z"], []), (None, [])):
        sign_off = {**(base["sign_off"] or {}), "into_usual": into_usual}
        one = story(copied=copied, outcome="complete", values_nm=values, sign_off=sign_off)
        assert codes(one) == found


@pytest.mark.parametrize("kind", RULES)
def test_every_kind_of_worry_has_words(kind: WorryKind) -> None:
    assert say("record.not_plain_worry", {"worry_code": f"worry.{kind}"}).startswith("a worry: ")


def test_the_operator_s_authorisation_is_that_of_the_sheet() -> None:
    one = story()
    person = one.state["person"]
    for until, code in (("2027-03-31T00:00:00.000Z", "record.authorised_until"), (None, "record.authorised")):
        sheet: Any = {**one.sheet, "people": [{"id": person, "name": "Somebody", "until_utc": until}]}
        assert authorised(replace(one, sheet=sheet)).code == code
    nobody: Any = {**one.sheet, "people": []}
    assert authorised(replace(one, sheet=nobody)).code == "record.authorised_not"


def test_the_probe_s_last_check_and_both_serial_numbers_are_printed_where_the_sheet_has_them() -> None:
    one = story()
    probe = {**one.sheet["probe"], "checked_at_utc": "2026-11-20T09:00:00.000Z", "check": None}
    said = probe_check(replace(one, sheet={**one.sheet, "probe": probe}))  # type: ignore[typeddict-item]
    assert said is not None
    assert say(said.code, said.fields) == "Last checked 2026-11-20"
    facts = record_facts(TALES["normal"]().bundle(), final=False)
    assert (facts.machine_serial, facts.probe_serial) == ("", "")
