"""Accepting a setup and letting its values into the usual are two choices of the lead."""

import json
from dataclasses import replace
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.kept import kept_values
from tests.kit.past import keep_past
from tests.kit.shop import PASSPHRASES, PINS, SHOP
from tests.kit.walk import Walk
from webapp.domain.shop.told_shop import SeatingStart
from webapp.domain.usual.usual import Usual
from webapp.services.audit.auditing import audit
from webapp.services.decisions import joining, signing_off
from webapp.services.decisions.joining import NewSeating, ValuesChoice
from webapp.services.errors import ReasonMissing, RoleMissing, SeatingCannotBeginThere
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.numbers import seatings, trending
from webapp.services.setups import stored_setups
from webapp.services.sheets.preparing import usuals
from webapp.services.shop.loading import load

# A usual of −413.321 whose lines stand 0.028 apart from it, and a bad value of −414.070.
USUAL_NM, BAD_NM = -413_321_000, -414_070_000
STEADY_NM = [USUAL_NM + 1_000 * off for off in (-9, 9, -8, 8, -10, 10, -9, 9, -8, 8, 0, 0)]


def lines(house: House, axis: str = "X") -> Usual:
    return usuals(house.store, "mill-1")[axis]


def kept(house: House) -> dict[tuple[str, str], dict[str, Any]]:
    with house.store.reading():
        return {(row["setup"], row["axis"]): row for row in kept_values(house.store, "vise-a")}


def decide(house: House, walk: Walk, choice: ValuesChoice) -> None:
    seen = house.seen(walk.setup)
    signing_off.sign_off(
        house.store, walk.setup, "ines", PASSPHRASES["ines"], "", house.clock(), seen=seen,
        values=choice,
    )  # fmt: skip


def said(house: House, walk: Walk) -> Any:
    with house.store.reading():
        rows = house.store.ledger.changes(kind="setup.signed_off")
    return next(json.loads(row["text"])["data"] for row in rows if row["subject"] == walk.setup)


@pytest.fixture
def steady(house: House) -> House:
    """A vise whose usual in X is known well; Y and Z have one value."""
    keep_past(house, STEADY_NM)
    first = house.walk()
    first.values_nm["X"] = USUAL_NM
    first.through().sign(PINS["mara"], house.keyring)
    house.accept(first.parts)
    house.sign_off(first.setup)
    return house


def bad(house: House, person: str = "mara") -> Walk:
    """A setup that was finished and signed with the bad value in X, seen and allowed by the lead."""
    walk = house.walk(person)
    walk.values_nm["X"] = BAD_NM
    walk.start().until("compare", "X")
    touch = walk.fold.result()["touches"][-1]
    read = {name: touch[name] for name in ("axis", "typed", "value_nm", "verdict", "difference_nm")}  # type: ignore[literal-required]
    walk.event("touch.read_again", read, walk.step["id"])
    walk.question(1, "X")
    house.accept(walk.parts)
    house.answer_all("Seen.")
    with house.store.reading():
        for decision in stored_setups.decisions_of(house.store, walk.setup):
            walk.fold.decide(decision)
    walk.until("sign").sign(PINS[person], house.keyring)
    house.accept(walk.parts)
    return walk


def test_one_accepted_bad_value_moves_neither_lines_nor_centre(steady: House) -> None:
    before = lines(steady)
    assert before.centre_nm == USUAL_NM
    assert before.ask_nm is not None
    assert 15_000 <= before.ask_nm <= 40_000
    walk = bad(steady)
    steady.sign_off(walk.setup)
    after = lines(steady)
    assert (after.centre_nm, after.ask_nm, after.stop_nm) == (before.centre_nm, before.ask_nm, before.stop_nm)
    assert kept(steady)[walk.setup, "X"]["left_out_reason"] == joining.BEYOND_REASON
    assert said(steady, walk)["into_usual"] == ["Y", "Z"]
    right = steady.walk()
    right.values_nm["X"] = USUAL_NM + 1_000
    right.through()
    assert [touch["verdict"] for touch in right.fold.result()["touches"]] == ["agrees"] * 3


def test_a_sign_off_reads_no_value_of_the_past_again(steady: House, monkeypatch: pytest.MonkeyPatch) -> None:
    walk = steady.walk()
    walk.values_nm["X"] = USUAL_NM
    walk.through().sign(PINS["mara"], steady.keyring)
    steady.accept(walk.parts)
    signing_off.values_at_stake(steady.store, walk.setup)
    read_all = type(steady.store.kept), "counted_values"
    monkeypatch.setattr(*read_all, lambda *_: pytest.fail("the values of all setups were read"))
    steady.sign_off(walk.setup)
    assert {place[1] for place in kept(steady) if place[0] == walk.setup} == {"X", "Y", "Z"}


def test_a_value_beyond_joins_by_a_second_choice_and_then_moves_the_lines(steady: House) -> None:
    before, walk = lines(steady), bad(steady)
    stake = signing_off.values_at_stake(steady.store, walk.setup)
    (beyond,) = stake.standing_as("beyond")
    assert (beyond.axis, beyond.before) == ("X", before)
    decide(steady, walk, ValuesChoice(let_in=frozenset({"X"})))
    after = lines(steady)
    assert after == beyond.after
    assert after.n_values == before.n_values + 1
    assert (after.ask_nm, after.suspects) != (before.ask_nm, before.suspects)
    assert said(steady, walk)["into_usual"] == ["X", "Y", "Z"]


def test_a_value_that_stayed_out_is_listed_and_can_be_taken_in_later(steady: House) -> None:
    walk = bad(steady)
    steady.sign_off(walk.setup)
    both = trending.with_and_without(steady.store, "vise-a", "X", walk.setup)
    assert both.row.left_out_reason == joining.BEYOND_REASON
    seatings.take_in(steady.store, walk.setup, "X", "It was right after all.", "ines", steady.clock())
    assert lines(steady) == both.other.usual


def test_a_value_that_was_right_in_its_day_is_put_to_the_lead_when_the_lines_have_moved_since(
    house: House,
) -> None:
    keep_past(house, STEADY_NM)
    walk = house.walk()
    walk.values_nm["X"] = USUAL_NM + 10_000
    walk.through().sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    keep_past(house, [USUAL_NM - 60_000 + 1_000 * (off % 3) for off in range(30)], first=100)
    (beyond,) = signing_off.values_at_stake(house.store, walk.setup).standing_as("beyond")
    assert beyond.axis == "X"


def test_first_values_join_in_one_choice_or_stay_out(house: House) -> None:
    taken, left = house.signed(), house.signed("tomas")
    stake = signing_off.values_at_stake(house.store, taken.setup)
    assert [one.axis for one in stake.standing_as("first")] == ["X", "Y", "Z"]
    decide(house, left, ValuesChoice(first=False))
    assert {row["left_out_reason"] for row in kept(house).values()} == {joining.FIRST_REASON}
    assert lines(house).centre_nm is None
    decide(house, taken, joining.AS_IT_IS)
    assert lines(house).centre_nm == taken.values_nm["X"]


def test_of_two_first_setups_the_second_is_compared_with_the_first_that_was_signed_off(house: House) -> None:
    first = house.signed()
    second = house.signed("tomas", values_nm={**first.values_nm, "X": first.values_nm["X"] + 900_000})
    house.sign_off(first.setup)
    stake = signing_off.values_at_stake(house.store, second.setup)
    assert [(one.axis, one.standing) for one in stake.joinings] == [
        ("X", "beyond"),
        ("Y", "within"),
        ("Z", "within"),
    ]


def test_a_new_seating_begins_with_the_setup_and_takes_what_was_touched_since(steady: House) -> None:
    before = lines(steady)
    walk = bad(steady)
    right = {**walk.values_nm, "X": USUAL_NM}
    later, last = (steady.signed("tomas", values_nm=right) for _ in range(2))
    steady.sign_off(later.setup)
    new = NewSeating("vise-a-2", "The vise was hit by a cart and trammed anew.")
    decide(steady, walk, ValuesChoice(new_seating=new))
    now = lines(steady)
    assert now.seating_id == "vise-a-2"
    assert now.n_values == 2
    assert kept(steady)[walk.setup, "X"]["left_out_reason"] is None
    assert kept(steady)[later.setup, "Y"]["seating"] == "vise-a-2"
    with steady.store.reading():
        seatings = steady.store.shop.seatings("vise-a")
        started = json.loads(steady.store.ledger.changes(kind="seating.started")[0]["text"])["data"]
    since = walk.events[0]["at_utc"]
    assert [(row["id"], row["since_utc"], row["until_utc"]) for row in seatings][-2:] == [
        ("vise-a-1", seatings[0]["since_utc"], since),
        ("vise-a-2", since, None),
    ]
    assert started["from_setup"] == walk.setup
    old = trending.trend(steady.store, "vise-a", "X", "vise-a-1").now.usual
    assert (old.centre_nm, old.ask_nm) == (before.centre_nm, before.ask_nm)
    # A setup that was under way then, on a sheet of the old seating, counts for the new one.
    steady.sign_off(last.setup)
    assert kept(steady)[last.setup, "X"]["seating"] == "vise-a-2"


def test_a_value_is_held_against_the_seating_it_was_touched_in_whatever_began_since(steady: House) -> None:
    walk = steady.walk()
    walk.values_nm["X"] = USUAL_NM
    walk.through().sign(PINS["mara"], steady.keyring)
    steady.accept(walk.parts)
    before = signing_off.values_at_stake(steady.store, walk.setup).joinings
    for name in ("second", "third"):
        steady.clock.forward(days=1)
        seatings.start_seating(steady.store, "vise-a", name, "Moved.", "ines", steady.clock())
    assert signing_off.values_at_stake(steady.store, walk.setup).joinings == before
    assert [one.axis for one in before if one.before and one.before.centre_nm == USUAL_NM] == ["X"]


def test_no_seating_is_begun_back_to_a_setup_that_was_broken_off(steady: House) -> None:
    walk = steady.walk()
    walk.values_nm["X"] = USUAL_NM
    walk.start().until("search", "Y")
    walk.event("setup.broken_off", {}, None)
    walk.event("break.explained", {"reason": "practice", "text": ""}, None)
    walk.until("sign").sign(PINS["mara"], steady.keyring)
    steady.accept(walk.parts)
    assert not signing_off.values_at_stake(steady.store, walk.setup).may_begin_seating
    whole = bad(steady)
    assert signing_off.values_at_stake(steady.store, whole.setup).may_begin_seating


def test_a_new_seating_needs_words_and_begins_once(steady: House) -> None:
    one, other = bad(steady), bad(steady, "tomas")
    with pytest.raises(ReasonMissing):
        decide(steady, one, ValuesChoice(new_seating=NewSeating("vise-a-2", " ")))
    decide(steady, one, ValuesChoice(new_seating=NewSeating("vise-a-2", "Moved.")))
    with pytest.raises(SeatingCannotBeginThere):
        decide(steady, other, ValuesChoice(new_seating=NewSeating("vise-a-3", "Moved.")))
    with steady.store.reading():
        assert steady.store.setups.setup(other.setup)["status"] == "signed"


def test_a_sign_off_from_before_the_two_choices_names_no_axes_and_keeps_its_meaning(house: House) -> None:
    walk, data = house.signed(), {"meaning": "reviewed and accepted", "note": ""}
    with house.store.writing():
        change(house.store, "setup.signed_off", "ines", walk.setup, walk.setup, data, house.clock())
        state = stored_setups.refresh(house.store, walk.setup)
    assert (state["status"], state["sign_off"]["into_usual"]) == ("signed_off", None)


def test_a_seating_begins_back_at_a_past_setup_with_all_that_was_touched_since(steady: House) -> None:
    walks = []
    for _ in range(2):
        steady.clock.forward(hours=1)
        walk = bad(steady)
        decide(steady, walk, ValuesChoice())
        walks.append(walk)
    first = walks[0]
    before = lines(steady)
    seatings.begin_seating_back(
        steady.store, "vise-a", first.setup, "vise-a-2", "Moved and not told.", "ines", steady.clock()
    )
    rows = kept(steady)
    assert rows[first.setup, "X"]["seating"] == "vise-a-2"
    # They had stayed out of the old place's usual; they are the new one's.
    assert rows[first.setup, "X"]["left_out_reason"] is None
    after = lines(steady)
    assert (before.centre_nm, after.centre_nm) == (USUAL_NM, BAD_NM)
    assert after.n_values == 2
    with steady.store.reading():
        stored = steady.store.shop.seatings("vise-a")
        told = [
            json.loads(row["text"])["data"] for row in steady.store.ledger.changes(kind="seating.started")
        ]
    entry = next(one for one in told if one["seating"] == "vise-a-2")
    assert [row["id"] for row in stored] == ["vise-a-1", "vise-a-2"]
    assert stored[0]["until_utc"] == stored[1]["since_utc"] == entry["since_utc"]
    assert entry["from_setup"] == first.setup
    assert f"{first.setup} X" in entry["let_in"]
    assert entry["reason"] == "Moved and not told."


def test_values_that_stayed_out_count_in_a_seating_that_is_begun_back_with_a_day(steady: House) -> None:
    steady.clock.forward(days=1)
    walk, other = bad(steady), bad(steady)
    for one in (walk, other):
        decide(steady, one, ValuesChoice())
    seatings.leave_out(steady.store, other.setup, "X", "A chip.", "ines", steady.clock())
    day, faults = steady.clock().date(), audit(steady.store)
    steady.clock.forward(hours=1)
    seatings.start_seating(
        steady.store, "vise-a", "vise-a-2", "Moved and not told.", "ines", steady.clock(), since=day
    )
    rows = kept(steady)
    assert {rows[one.setup, "X"]["seating"] for one in (walk, other)} == {"vise-a-2"}
    assert rows[walk.setup, "X"]["left_out_reason"] is None
    assert rows[other.setup, "X"]["left_out_reason"] == "A chip."
    assert lines(steady).centre_nm == BAD_NM
    assert audit(steady.store) == faults
    with steady.store.reading():
        (entry,) = steady.store.ledger.changes(kind="seating.started", newest=1)
    assert json.loads(entry["text"])["data"]["let_in"] == [f"{walk.setup} X"]


def test_a_seating_begins_back_only_after_values_of_the_present_one_and_by_a_lead(steady: House) -> None:
    with pytest.raises(SeatingCannotBeginThere):
        seatings.begin_seating_back(
            steady.store, "vise-a", "0" * 36, "vise-a-2", "Moved.", "ines", steady.clock()
        )
    walk = bad(steady)
    decide(steady, walk, ValuesChoice())
    with pytest.raises(RoleMissing):
        seatings.begin_seating_back(
            steady.store, "vise-a", walk.setup, "vise-a-2", "Moved.", "mara", steady.clock()
        )
    with pytest.raises(ReasonMissing):
        seatings.begin_seating_back(
            steady.store, "vise-a", walk.setup, "vise-a-2", " ", "ines", steady.clock()
        )
    with steady.store.reading():
        assert len(steady.store.shop.seatings("vise-a")) == 1


def test_a_setup_that_is_signed_off_after_a_seating_was_begun_back_with_a_day_lies_in_it(
    house: House,
) -> None:
    """Its sheet names the seating before: what was touched since that day goes with the new one all the
    same.
    """
    house.clock.forward(days=2)
    walk = house.signed()
    day = house.clock().date()
    house.clock.forward(minutes=5)
    seatings.start_seating(
        house.store, "vise-a", "vise-a-9", "Trammed anew.", "ines", house.clock(), since=day
    )
    house.clock.forward(minutes=5)
    house.sign_off(walk.setup)
    assert {row["seating"] for row in kept(house).values()} == {"vise-a-9"}
    assert audit(house.store) == []


def load_older_seatings(house: House, *days: str) -> None:
    """A file of the shop that knows of earlier seatings of the vise as well."""
    older = [
        SeatingStart(f"older-{day}", "vise-a", f"{day}T09:00:00.000Z", "As written down.") for day in days
    ]
    shop = replace(SHOP, seatings=(*older, *SHOP.seatings))
    load(house.store, shop, SERVER, house.clock(), lambda _: "", house.keyring)


def begin_back(house: House, seating: str) -> None:
    """A seating that begins with the day of now, told five minutes later."""
    day = house.clock().date()
    house.clock.forward(minutes=5)
    seatings.start_seating(house.store, "vise-a", seating, "Trammed anew.", "ines", house.clock(), since=day)
    house.clock.forward(minutes=5)


def test_an_older_seating_from_a_file_takes_no_part_in_one_that_is_begun_back_with_a_day(
    house: House,
) -> None:
    house.clock.forward(days=2)
    done = house.signed_off()
    load_older_seatings(house, "2026-10-05", "2026-10-01")
    later = house.signed()
    begin_back(house, "vise-a-9")
    house.sign_off(later.setup)
    rows = kept(house)
    assert {rows[walk.setup, "X"]["seating"] for walk in (done, later)} == {"vise-a-9"}
    assert audit(house.store) == []


def test_an_older_seating_that_a_file_brings_after_one_was_begun_back_accuses_nobody(house: House) -> None:
    house.clock.forward(days=2)
    done, later = house.signed_off(), house.signed()
    begin_back(house, "vise-a-9")
    load_older_seatings(house, "2026-11-20")
    house.sign_off(later.setup)
    rows = kept(house)
    assert rows[done.setup, "X"]["seating"] == "vise-a-9"
    assert audit(house.store) == []


def test_two_hundred_seatings_of_another_vise_hide_none_that_was_begun_back(house: House) -> None:
    house.clock.forward(days=2)
    walk = house.signed()
    begin_back(house, "vise-a-9")
    for number in range(201):
        house.clock.forward(minutes=2)
        seatings.start_seating(
            house.store, "vise-b", f"vise-b-{number + 2}", "Trammed.", "ines", house.clock()
        )
    house.sign_off(walk.setup)
    assert {row["seating"] for row in kept(house).values()} == {"vise-a-9"}
    assert audit(house.store) == []
