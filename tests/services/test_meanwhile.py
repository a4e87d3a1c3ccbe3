"""A tablet that was out of reach during a change: what was done is kept, and a lead sees both sides."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, cast

import pytest

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import MILL, PINS, PROBE, SHOP
from tests.kit.statements import noted
from tests.kit.walk import CENTRES, Walk
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.plain.lengths import format_length
from webapp.domain.procedure import editing
from webapp.domain.procedure.procedure import Procedure
from webapp.domain.shop.shop import Probe
from webapp.services.decisions import measured_by, signing_off
from webapp.services.decisions.meanwhile import Meanwhile
from webapp.services.decisions.sides import Difference, Side
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.people import accounts, rights
from webapp.services.setups import stored_setups
from webapp.services.shop import procedures, publishing
from webapp.services.shop.loading import load
from webapp.services.times import utc_text
from webapp.store.rows import SetupRow


def begun(house: House) -> Walk:
    """A setup on a tablet that is out of reach from here on."""
    walk = house.walk().start()
    house.clock.forward(minutes=2)
    return walk


def came(house: House, walk: Walk) -> tuple[Difference, ...]:
    """It is done to its end, and then all of it comes."""
    walk.until("sign").sign(PINS["mara"], house.keyring)
    receipts = house.accept(walk.parts)
    assert {one["outcome"] for one in receipts} == {"accepted"}, "what was done meanwhile is kept"
    found = signing_off.detail(house.store, walk.setup)["meanwhile"]
    (queued,) = signing_off.queue(house.store)
    marked = [one.fields["count"] for one in queued["oddities"] if one.code == "oddity.changed_meanwhile"]
    assert marked == ([len(found)] if found else [])
    return found


def sides(found: tuple[Difference, ...]) -> list[tuple[str, str, str]]:
    return [(one.about, one.then.code.partition(".")[2], one.now.code.partition(".")[2]) for one in found]


def withdraw(house: House) -> None:
    rights.withdraw(house.store, "mara", "mill-1", "The course is over.", "ines", house.clock())


def bolt_anew(house: House) -> None:
    with house.store.writing():
        house.store.shop.start_seating("vise-a-2", "vise-a", house.clock.text, "Bolted down anew.")


def give_to_tomas(house: House) -> None:
    with house.store.writing():
        house.store.shop.put_slot("mill-1", "G54", "person", "tomas", None)


def test_nothing_stands_there_where_nothing_changed(house: House) -> None:
    assert came(house, begun(house)) == ()


def test_a_slot_that_was_given_to_somebody_else_meanwhile(house: House) -> None:
    walk = begun(house)
    give_to_tomas(house)
    (one,) = came(house, walk)
    assert (one.about, one.then.who, one.now.who) == ("slot", "mara", "tomas")


def test_a_right_that_was_withdrawn_meanwhile(house: House) -> None:
    walk = begun(house)
    withdraw(house)
    at_utc = house.clock.text
    (one,) = came(house, walk)
    assert sides((one,)) == [("right", "right_alone", "right_withdrawn")]
    assert one.now.at_utc == at_utc


def test_a_person_who_was_taken_out_of_use_meanwhile(house: House) -> None:
    walk = begun(house)
    accounts.disable_person(house.store, "mara", "Left the shop.", "ines", house.clock())
    assert ("account", "in_use", "disabled") in sides(came(house, walk))


def test_a_vise_that_was_moved_meanwhile(house: House) -> None:
    walk = begun(house)
    bolt_anew(house)
    (one,) = came(house, walk)
    assert sides((one,)) == [("seating", "seated", "moved")]
    assert one.now.fields == {"reason": "Bolted down anew."}


@pytest.mark.parametrize("change", [withdraw, bolt_anew])
def test_what_changed_after_a_setup_was_over_is_not_held_against_it(house: House, change: object) -> None:
    walk = house.signed()
    house.clock.forward(minutes=30)
    assert callable(change)
    change(house)
    assert signing_off.detail(house.store, walk.setup)["meanwhile"] == ()


def test_a_setup_that_is_decided_about_says_nothing_of_what_came_later(house: House) -> None:
    walk = house.signed_off()
    give_to_tomas(house)
    assert signing_off.detail(house.store, walk.setup)["meanwhile"] == ()


def signed_row(house: House, **more: Any) -> tuple[Walk, SetupRow]:
    """A setup that waits for a lead, and its row."""
    walk = house.signed(**more)
    with house.store.reading():
        row = house.store.setups.setup(walk.setup)
    assert row
    return walk, row


def asked(house: House, walk: Walk, row: SetupRow, **otherwise: Any) -> list[tuple[str, str, str]]:
    """The two sides of a setup, were its row otherwise."""
    changed = cast("SetupRow", {**row, **otherwise})
    with house.store.reading():
        state = stored_setups.fold_stored(house.store, row["id"])
        return sides(Meanwhile(house.store, [changed]).differences(changed, walk.sheet, state))


def authorised(house: House, person: str, level: str, until_utc: str) -> None:
    rights.authorise(house.store, person, "mill-1", until_utc, "ines", house.clock(), level)


LONG, LONGER = "2027-02-27T00:00:00.000Z", "2027-03-31T00:00:00.000Z"


@pytest.mark.parametrize(("before", "after"), [("alone", "beside"), ("beside", "alone")])
def test_a_right_that_was_given_in_another_way_meanwhile(house: House, before: str, after: str) -> None:
    authorised(house, "mara", before, LONG)
    walk = begun(house)
    authorised(house, "mara", after, LONGER)
    house.clock.forward(minutes=1)
    with house.store.reading():
        (mine,) = [one for one in house.store.people.authorisations(machine="mill-1")
                   if one["person"] == "mara" and one["withdrawn_at_utc"] is None]  # fmt: skip
    walk.until("sign").sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    with house.store.reading():
        row = house.store.setups.setup(walk.setup)
    assert row
    begins = {"started_at_utc": mine["from_utc"]}
    assert asked(house, walk, row, **begins) == [("right", f"right_{before}", f"right_{after}")]
    with house.store.reading():
        state = stored_setups.fold_stored(house.store, row["id"])
        late = cast("SetupRow", {**row, **begins})
        (one,) = Meanwhile(house.store, [late]).differences(late, walk.sheet, state)
    assert (one.then.at_utc, one.now.at_utc) == (LONG, LONGER)


def test_a_right_that_was_given_again_as_it_was_is_no_difference(house: House) -> None:
    walk = begun(house)
    authorised(house, "mara", "alone", LONGER)
    walk.until("sign").sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    assert signing_off.detail(house.store, walk.setup)["meanwhile"] == ()


def test_somebody_whom_the_sheet_did_not_name_and_who_has_a_right_is_no_difference(house: House) -> None:
    house.clock.forward(days=2)
    sheet = house.sheet()
    assert "ivo" not in [one["id"] for one in json.loads(sheet[1])["people"]]
    authorised(house, "ivo", "alone", LONG)
    walk, row = signed_row(house, person="mara")
    old = cast("WrittenSheet", {**walk.sheet, "people": json.loads(sheet[1])["people"]})
    with house.store.reading():
        state = stored_setups.fold_stored(house.store, row["id"])
        his = cast("SetupRow", {**row, "person": "ivo"})
        assert Meanwhile(house.store, [his]).differences(his, old, state) == ()


def test_a_right_counts_from_its_first_moment_up_to_but_not_with_its_last(house: House) -> None:
    walk, row = signed_row(house)
    with house.store.reading():
        (mine,) = [one for one in house.store.people.authorisations(machine="mill-1")
                   if one["person"] == "mara"]  # fmt: skip
    first, until = mine["from_utc"], str(mine["until_utc"])
    whole = {"started_at_utc": first, "last_at_utc": before(until)}
    assert asked(house, walk, row, **whole) == []
    ended = [("right", "right_alone", "right_ended")]
    assert asked(house, walk, row, **{**whole, "last_at_utc": until}) == ended
    assert asked(house, walk, row, **{**whole, "started_at_utc": before(first)}) == [
        ("right", "right_alone", "right_none")
    ]
    house.clock.forward(minutes=1)
    withdraw(house)
    assert asked(house, walk, row, **{**whole, "last_at_utc": before(house.clock.text)}) == []
    withdrawn = [("right", "right_alone", "right_withdrawn")]
    assert asked(house, walk, row, **{**whole, "last_at_utc": house.clock.text}) == withdrawn


def before(at_utc: str) -> str:
    """A millisecond earlier."""
    return utc_text(datetime.fromisoformat(at_utc) - timedelta(milliseconds=1))


def test_an_account_a_seating_and_a_procedure_count_from_the_moment_of_the_change(house: House) -> None:
    walk, row = signed_row(house)
    house.clock.forward(minutes=1)
    bolt_anew(house)
    at_utc = house.clock.text
    assert asked(house, walk, row, last_at_utc=before(at_utc)) == []
    assert asked(house, walk, row, last_at_utc=at_utc) == [("seating", "seated", "moved")]
    house.clock.forward(minutes=1)
    publish(house)
    at_utc, seating = house.clock.text, ("seating", "seated", "moved")
    assert asked(house, walk, row, last_at_utc=before(at_utc)) == [seating]
    assert asked(house, walk, row, last_at_utc=at_utc) == [("procedure", "revision", "revision"), seating]
    house.clock.forward(minutes=1)
    accounts.disable_person(house.store, "mara", "Left the shop.", "ines", house.clock())
    at_utc = house.clock.text
    known = ["procedure", "seating"]
    assert [one[0] for one in asked(house, walk, row, last_at_utc=before(at_utc))] == known
    assert "account" in [one[0] for one in asked(house, walk, row, last_at_utc=at_utc)]


def publish(house: House) -> None:
    """Publish the procedure with another word in it."""
    store, now = house.store, house.clock()
    draft = procedures.begin(store, "shop", "ines", now)
    draft = procedures.edit(store, "shop", draft.seen, in_other_words, "ines", now)
    looked = publishing.look(store, "shop", draft.seen, "ines").digest
    publishing.publish(store, "shop", draft.seen, looked, "A cloth.", "ines", now)


def in_other_words(procedure: Procedure) -> Procedure:
    step = replace(editing.step_of(procedure, "vise.wipe"), do="Wipe the jaw with a clean cloth.")
    return editing.with_step(procedure, step)


@pytest.mark.parametrize(("others", "is_told"), [(48, True), (49, False)])
def test_when_a_revision_was_published_is_told_as_far_back_as_fifty_publications(
    house: House, others: int, is_told: bool
) -> None:
    walk, row = signed_row(house)
    house.clock.forward(minutes=1)
    publish(house)
    with house.store.writing():
        for number in range(others):
            data = {"revision": f"{number}"}
            change(house.store, "procedure.published", "ines", "other", None, data, house.clock())
    late = cast("SetupRow", {**row, "last_at_utc": house.clock.text})
    with house.store.reading():
        state = stored_setups.fold_stored(house.store, row["id"])
        (one,) = Meanwhile(house.store, [late]).differences(late, walk.sheet, state)
    assert (one.about, one.then.at_utc is not None, one.now.at_utc) == (
        "procedure",
        is_told,
        house.clock.text,
    )


def usual_of(walk: Walk, axis: str) -> dict[str, Any]:
    found: dict[str, Any] = next(one["usual"] for one in walk.sheet["axes"] if one["axis"] == axis)
    return found


def other_setup(house: House, **values_nm: int) -> None:
    """A setup of somebody else on another tablet, signed off, with other values on these axes."""
    tablet = Device(90_002, "Tablet 2")
    tablet.enrol(house.store, house.keyring, house.clock, "7QF3KM9XRB")
    walk = house.signed("tomas", device=tablet, values_nm={**CENTRES, **values_nm})
    house.clock.forward(minutes=1)
    house.sign_off(walk.setup)


def test_a_value_that_lies_on_another_side_of_a_line_of_now_stands_beside_both_usuals(house: House) -> None:
    house.signed_off()
    walk = begun(house)
    usual = usual_of(walk, "X")
    walk.values_nm["X"] = usual["centre_nm"] + usual["ask_nm"]
    other_setup(house, X=usual["centre_nm"] - usual["ask_nm"])
    (one,) = came(house, walk)
    assert (one.about, one.axis) == ("usual", "X")
    assert sides((one,)) == [("usual", "usual_agrees", "usual_ask")]
    assert one.then.fields == {
        "unit": "mm", "value": shown(walk.values_nm["X"]), "centre": shown(usual["centre_nm"]),
        "ask": shown(usual["ask_nm"], sign=False), "stop": shown(usual["stop_nm"], sign=False),
    }  # fmt: skip
    assert one.now.fields["centre"] == shown(usual["centre_nm"] - usual["ask_nm"] // 2)
    assert one.now.fields["ask"] != one.then.fields["ask"]


def shown(value_nm: int, *, sign: bool = True) -> str:
    return format_length(value_nm, MILL.display, sign=sign)


def test_a_usual_that_moved_and_judges_the_value_as_before_is_no_difference(house: House) -> None:
    house.signed_off()
    walk = begun(house)
    usual = usual_of(walk, "X")
    other_setup(house, X=usual["centre_nm"] + usual["ask_nm"])
    assert came(house, walk) == ()


@pytest.mark.parametrize(("off_nm", "told"), [(0, []), (1_000_000, [("usual", "usual_none", "usual_stop")])])
def test_a_value_that_had_nothing_to_be_compared_with_is_told_only_where_it_does_not_agree_now(
    house: House, off_nm: int, told: list[tuple[str, str, str]]
) -> None:
    walk = begun(house)
    walk.values_nm["X"] = CENTRES["X"] + off_nm
    other_setup(house)
    assert sides(came(house, walk)) == told


def test_what_was_touched_after_a_vise_was_moved_has_no_usual_there_yet(house: House) -> None:
    house.signed_off()
    walk = begun(house)
    bolt_anew(house)
    assert [(one.about, one.axis, one.now.code.partition(".")[2]) for one in came(house, walk)] == [
        ("seating", "", "moved"),
        *(("usual", axis, "usual_none") for axis in "XYZ"),
    ]


def test_a_vise_that_was_moved_after_a_setup_leaves_its_usual_what_it_was(house: House) -> None:
    house.signed_off()
    walk = house.signed()
    house.clock.forward(minutes=30)
    bolt_anew(house)
    assert signing_off.detail(house.store, walk.setup)["meanwhile"] == ()


@pytest.mark.parametrize("gone", [("machine", "mill-1"), ("probe", "probe-1")])
def test_where_a_machine_is_not_whole_any_more_no_usual_stands_beside(
    house: House, gone: tuple[str, str]
) -> None:
    house.signed_off()
    walk = begun(house)
    walk.values_nm["X"] += usual_of(walk, "X")["ask_nm"]
    other_setup(house, X=CENTRES["X"] - usual_of(walk, "X")["ask_nm"])
    with house.store.writing():
        house.store.shop.retire(*gone)
    walk.until("sign").sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    assert signing_off.detail(house.store, walk.setup)["meanwhile"] == ()


OTHER_STYLUS = replace(
    PROBE, ball_diameter_nm=4_000_000, effective_radius_nm=1_996_000, stylus_reach_nm=40_000_000,
    overtravel_side_nm=11_000_000, overtravel_up_nm=5_000_000,
)  # fmt: skip


def fit(house: House, probe: Probe) -> None:
    """Load the shop with this probe on its machines."""
    machines = tuple(replace(one, probe=probe.id) for one in SHOP.machines)
    load(house.store, replace(SHOP, probes=(probe,), machines=machines), SERVER, house.clock(),
         lambda _: "", house.keyring)  # fmt: skip


def test_a_stylus_that_was_changed_meanwhile_stands_beside_the_one_of_the_sheet(house: House) -> None:
    walk = begun(house)
    fit(house, OTHER_STYLUS)
    found = came(house, walk)
    assert [(one.about, one.then.fields["length"], one.now.fields["length"]) for one in found] == [
        ("probe_ball", "6.000", "4.000"),
        ("probe_stylus", "50.000", "40.000"),
        ("probe_overtravel_side", "12.000", "11.000"),
        ("probe_overtravel_up", "6.000", "5.000"),
    ]


def test_a_change_of_a_probe_that_the_display_does_not_show_is_none(house: House) -> None:
    walk = begun(house)
    fit(house, replace(PROBE, ball_diameter_nm=6_000_400, name="The old one"))
    assert came(house, walk) == ()


@pytest.mark.parametrize(
    ("probe", "now"),
    [
        (replace(PROBE, id="probe-2", name="Probe 2"), Side("meanwhile.probe", {"name": "Probe 2"})),
        (
            replace(PROBE, serial="SN 4711"),
            Side("meanwhile.probe_with_serial", {"name": "Probe 1", "serial": "SN 4711"}),
        ),
    ],
)
def test_another_probe_that_was_fitted_meanwhile_is_named_beside_the_one_of_the_sheet(
    house: House, probe: Probe, now: Side
) -> None:
    walk = begun(house)
    fit(house, probe)
    (one,) = came(house, walk)
    assert (one.about, one.then, one.now) == ("probe", Side("meanwhile.probe", {"name": "Probe 1"}), now)


def test_a_probe_counts_from_the_moment_it_was_fitted_whatever_came_after(house: House) -> None:
    walk, row = signed_row(house)
    house.clock.forward(minutes=1)
    fit(house, OTHER_STYLUS)
    at_utc = house.clock.text
    house.clock.forward(minutes=1)
    fit(house, PROBE)
    assert signing_off.detail(house.store, walk.setup)["meanwhile"] == ()
    assert asked(house, walk, row, last_at_utc=before(at_utc)) == []
    assert asked(house, walk, row, last_at_utc=at_utc)[0] == ("probe_ball", "measure", "measure")
    assert asked(house, walk, row, last_at_utc=house.clock.text) == []


def test_the_radius_that_is_added_by_hand_is_told_too(house: House) -> None:
    walk, row = signed_row(house)
    house.clock.forward(minutes=1)
    fit(house, replace(PROBE, effective_radius_nm=2_990_000))
    axes = [{**one, "by_hand_nm": 2_996_000 if one["axis"] != "Z" else -7} for one in walk.sheet["axes"]]
    walk.sheet = {**walk.sheet, "axes": axes}
    assert asked(house, walk, row, last_at_utc=house.clock.text) == [("probe_radius", "measure", "measure")]


def test_many_setups_that_wait_ask_the_database_no_more_than_one(house: House) -> None:
    house.signed_off()
    walks = [house.walk().through() for _ in range(3)]
    for walk in walks:
        walk.sign(PINS["mara"], house.keyring)
        house.accept(walk.parts)
    fit(house, OTHER_STYLUS)
    with house.store.reading():
        rows = [one for one in (house.store.setups.setup(walk.setup) for walk in walks) if one]
        states = [stored_setups.fold_stored(house.store, one["id"]) for one in rows]
        counts = []
        for many in (1, 3, 1, 3):
            with noted(house.store._database) as statements:
                known = Meanwhile(house.store, rows[:many])
                for row, walk, state in list(zip(rows, walks, states, strict=True))[:many]:
                    known.differences(row, cast("WrittenSheet", walk.sheet), state)
            counts.append(len(statements))
    assert counts[2] == counts[3]


def test_lines_alone_say_how_a_value_lies_and_no_range_that_stops_an_early_one() -> None:
    lines: Any = {"centre_nm": 0, "ask_nm": 10_000, "stop_nm": 100_000, "early_stops_nm": [[15_000, 25_000]]}
    touch: Any = {"value_nm": 20_000}
    assert measured_by._judged(touch, lines) == "ask"
