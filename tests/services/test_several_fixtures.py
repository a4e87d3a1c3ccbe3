"""Two vises on one machine: each has its own sheet, seating and values, and none of one count for the other.

A mistake here sends a probe to where another vise stands, so each thing that a sheet is compiled from is
looked at from both sides.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.kept import kept_values
from tests.kit.past import keep_past
from tests.kit.shop import CENTRES_NM, MILL, PINS, RIGHT_NM, SECOND_MILL, with_second_vise
from tests.kit.walk import Walk
from webapp import field_words
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.shop.fields import as_plain
from webapp.domain.shop.shop_file import ShopFileError, read_shop
from webapp.domain.shop.shop_text import write_shop
from webapp.domain.shop.told_shop import Shop
from webapp.services.audit.auditing import audit
from webapp.services.decisions import signing_off
from webapp.services.errors import (
    FixtureElsewhere,
    FixtureNameTaken,
    MachineNameTaken,
    NoSuchFixture,
    SeatingOfElsewhere,
)
from webapp.services.evidence.ledger import SERVER
from webapp.services.intake import enrolling
from webapp.services.numbers import choosing, past_values, seatings, trending
from webapp.services.setups import worrying
from webapp.services.setups.board import board
from webapp.services.sheets.preparing import current_hashes, current_sheets, usuals
from webapp.services.shop import as_file, items, out_of_use
from webapp.services.shop.items import Wanted
from webapp.services.shop.loading import Change, as_stored, load

FIRST, SECOND = "vise-a", "vise-c"


def loaded(house: House, shop: Shop) -> list[Change]:
    return load(house.store, shop, SERVER, house.clock(), lambda _: "", house.keyring)


@pytest.fixture
def two(house: House) -> House:
    """The house with a second vise on its first machine."""
    loaded(house, with_second_vise())
    house.clock.forward(minutes=1)
    return house


def sheet(house: House, fixture: str) -> WrittenSheet:
    found: WrittenSheet = json.loads(house.sheet(fixture=fixture)[1])
    return found


def usual(house: House, fixture: str) -> dict[str, Any]:
    return {axis["axis"]: axis["usual"] for axis in sheet(house, fixture)["axes"]}


def slot(house: House, fixture: str, label: str = "G54") -> Any:
    return next(one for one in sheet(house, fixture)["slots"] if one["label"] == label)


def places(house: House, fixture: str) -> dict[str, Any]:
    return {
        axis["axis"]: (axis["approach"] or {}).get("stand_low_nm") for axis in sheet(house, fixture)["axes"]
    }


def off(values_nm: dict[str, int]) -> dict[str, int]:
    """The same a micrometre beside."""
    return {axis: value + 1_000 for axis, value in values_nm.items()}


def at_second(house: House, person: str = "mara") -> Walk:
    """A setup at the second vise that was signed off."""
    return house.signed_off(person, fixture=SECOND, values_nm=dict(RIGHT_NM))


def news(house: House, device: Device, **more: Any) -> list[WrittenSheet]:
    payload = {"domain": "zerokeep/request/1", "challenge": "c", "have": [], "setups": [], **more}
    text = device.signed(payload, "zerokeep-request+jws")
    asked = enrolling.read_request(house.store, text, house.clock())
    told = enrolling.news(house.store, house.keyring, asked, house.clock())["sheets"] or []
    return [json.loads(one["text"] or "{}") for one in told]


def test_each_fixture_has_a_sheet_of_its_own_that_names_all_of_the_machine(two: House) -> None:
    one, other = sheet(two, FIRST), sheet(two, SECOND)
    assert (one["fixture"]["id"], one["fixture"]["seating"]["id"]) == (FIRST, "vise-a-1")
    assert (other["fixture"]["id"], other["fixture"]["seating"]["id"]) == (SECOND, "vise-c-1")
    named = [{"id": "vise-a", "name": "Vise A"}, {"id": "vise-c", "name": "Vise C"}]
    assert one["machine"]["fixtures"] == other["machine"]["fixtures"] == named
    assert two.sheet() == two.sheet(fixture=FIRST)  # the one that is offered first
    found = current_hashes(two.store, two.clock())
    assert list(found) == [("mill-1", FIRST), ("mill-1", SECOND), ("mill-2", "vise-b")]
    assert len(set(found.values())) == 3


def test_a_sheet_of_a_machine_with_one_fixture_says_nothing_of_others(house: House) -> None:
    found = json.loads(house.sheet()[1])
    assert "fixtures" not in found["machine"]
    assert all("last_fixture_name" not in one for one in found["slots"])


def test_there_is_no_sheet_of_a_fixture_that_is_on_another_machine(two: House) -> None:
    with pytest.raises(NoSuchFixture):
        two.sheet(fixture="vise-b")


def test_the_values_of_one_vise_are_the_usual_of_that_vise_alone(two: House) -> None:
    two.signed_off("mara")
    assert {axis: one["centre_nm"] for axis, one in usual(two, FIRST).items()} == CENTRES_NM
    assert {one["centre_nm"] for one in usual(two, SECOND).values()} == {None}
    assert {one["stop_nm"] for one in usual(two, SECOND).values()} == {None}
    at_second(two, "tomas")
    assert {axis: one["centre_nm"] for axis, one in usual(two, FIRST).items()} == CENTRES_NM
    assert {axis: one["centre_nm"] for axis, one in usual(two, SECOND).items()} == RIGHT_NM
    with two.store.reading():
        rows = {fixture: kept_values(two.store, fixture) for fixture in (FIRST, SECOND)}
    assert {row["seating"] for row in rows[FIRST]} == {"vise-a-1"}
    assert {row["seating"] for row in rows[SECOND]} == {"vise-c-1"}
    assert audit(two.store) == []


def test_where_the_ball_may_stand_follows_the_vise_that_was_chosen(two: House) -> None:
    two.signed_off("mara")
    before = places(two, FIRST)
    assert set(places(two, SECOND).values()) == {None}  # nothing is known of it yet
    at_second(two, "tomas")
    assert places(two, FIRST) == before
    moved = RIGHT_NM["X"] - CENTRES_NM["X"]
    here, there = before["X"], places(two, SECOND)["X"]
    # As far apart as the vises, but for what may be wrong with an axis that came a longer way.
    assert abs(there - here - moved) < 500_000


def test_a_value_of_the_other_vise_is_a_stop_here_and_agrees_there(two: House) -> None:
    two.signed_off("mara")
    at_second(two, "tomas")
    wrong = two.walk("mara", values_nm=dict(RIGHT_NM)).start().until("touch", "X")
    wrong.answer()
    (touch,) = [one for one in wrong.fold.result()["touches"] if one["axis"] == "X"]
    assert touch["verdict"] == "stop"
    right = two.walk("mara", fixture=SECOND, values_nm=dict(RIGHT_NM)).through()
    assert {one["verdict"] for one in right.fold.result()["touches"]} == {"agrees"}


def test_more_values_at_one_vise_change_no_line_of_the_other(two: House) -> None:
    two.signed_off("mara")
    at_second(two, "tomas")
    before = usuals(two.store, "mill-1", FIRST), sheet(two, FIRST)["axes"]
    spread = [RIGHT_NM["X"] + 1_000 * off for off in (-40, 35, -30, 45, 0, 20, -25, 10)]
    keep_past(two, spread, fixture=SECOND, seating="vise-c-1")
    assert (usuals(two.store, "mill-1", FIRST), sheet(two, FIRST)["axes"]) == before
    assert usuals(two.store, "mill-1", SECOND)["X"].n_values > 1


def test_last_touches_of_the_other_vise_are_no_sign_that_this_one_was_moved(two: House) -> None:
    two.signed_off("mara")
    two.signed_off("tomas", values_nm=off(CENTRES_NM))
    before = [axis["causes"]["candidates"] for axis in sheet(two, FIRST)["axes"]]
    two.signed("mara", fixture=SECOND, values_nm=dict(RIGHT_NM))
    two.signed("tomas", fixture=SECOND, values_nm=off(RIGHT_NM))
    names = [one["code"] for axis in sheet(two, FIRST)["axes"] for one in axis["causes"]["candidates"]]
    assert "cause.vise_moved" not in names, before


def test_a_seating_that_is_begun_anew_is_that_of_one_vise(two: House) -> None:
    two.signed_off("mara")
    at_second(two, "tomas")
    seatings.start_seating(two.store, SECOND, "vise-c-2", "Taken off and put back.", "ines", two.clock())
    assert {one["centre_nm"] for one in usual(two, SECOND).values()} == {None}
    assert {axis: one["centre_nm"] for axis, one in usual(two, FIRST).items()} == CENTRES_NM
    assert audit(two.store) == []


def test_the_row_of_a_slot_says_at_which_vise_its_numbers_were_touched(two: House) -> None:
    assert "last_fixture_name" not in slot(two, FIRST)
    at_second(two, "mara")
    assert slot(two, FIRST)["last_fixture_name"] == slot(two, SECOND)["last_fixture_name"] == "Vise C"
    # What was last seen in the row is the control's, whichever vise it is of: the next one copies it down.
    assert slot(two, FIRST)["last_values_nm"] == RIGHT_NM
    walk = two.walk("mara").start().until("search", "Z")
    copied = walk.fold.result()["copied"]
    assert copied is not None
    two.accept(walk.parts)
    # It is cleared and holds a whole vise no more: nothing is said of which.
    assert "last_fixture_name" not in slot(two, FIRST)


def test_a_worry_about_one_vise_keeps_that_one_from_use_and_stands_on_the_board(two: House) -> None:
    walk = two.walk(fixture=SECOND).start().until("search", "X")
    walk.event("worry.raised", {"worry": "vise_loose", "text": "It rocks.", "about": "vise"}, walk.step["id"])
    walk.event("setup.broken_off", {}, walk.step["id"])
    walk.event("break.explained", {"reason": "vise", "text": ""}, walk.step["id"])
    walk.until("sign").sign(PINS["mara"], two.keyring)
    two.accept(walk.parts)
    assert [one["thing_name"] for one in sheet(two, SECOND)["board"]["worries"]] == ["Vise C"]
    assert sheet(two, FIRST)["board"]["worries"] == []
    plover, _ = board(two.store, two.clock())
    assert [one.thing_name for one in plover["worries"]] == ["Vise C"]
    assert [one.thing_name for one in worrying.open_worries(two.store)] == ["Vise C"]


def test_a_choice_of_lines_is_that_of_one_vise(two: House) -> None:
    two.signed_off("mara")
    at_second(two, "tomas")
    before = usual(two, FIRST)
    parts = trending.parts_of(two.store, SECOND, "X")
    tighter = replace(parts.choice, ask_one_in=parts.choice.ask_one_in * 3)
    choosing.choose(two.store, SECOND, "X", tighter, "Tight.", "ines", two.clock())
    assert usual(two, FIRST) == before


def test_every_fixture_is_listed_at_the_desk_with_its_own_axes(two: House) -> None:
    at_second(two, "mara")
    found = {one["fixture"]: one for one in trending.overview(two.store)}
    assert list(found) == [FIRST, SECOND, "vise-b"]
    counted = {
        fixture: [axis["glance"].counted if axis["glance"] else 0 for axis in one["axes"]]
        for fixture, one in found.items()
    }
    assert counted == {FIRST: [0, 0, 0], SECOND: [1, 1, 1], "vise-b": [0, 0, 0]}
    listed = [(one["machine"], one["fixture"]) for one in current_sheets(two.store, two.clock())]
    assert listed == [("mill-1", FIRST), ("mill-1", SECOND), ("mill-2", "vise-b")]


def test_a_tablet_that_asks_which_fixture_gets_a_sheet_of_each(two: House) -> None:
    told = news(two, two.device, asks_which_fixture=True)
    assert [(one["machine"]["id"], one["fixture"]["id"]) for one in told] == [
        ("mill-1", FIRST),
        ("mill-1", SECOND),
        ("mill-2", "vise-b"),
    ]


def test_a_program_from_before_gets_one_sheet_of_a_machine_that_of_its_first_fixture(two: House) -> None:
    told = news(two, two.device)
    assert [(one["machine"]["id"], one["fixture"]["id"]) for one in told] == [
        ("mill-1", FIRST),
        ("mill-2", "vise-b"),
    ]


def test_a_program_from_before_gets_none_where_that_of_the_first_fixture_cannot_be_made(two: House) -> None:
    with two.store.writing():
        two.store.shop.put("fixture", FIRST, {"id": FIRST, "name": "Vise A"})  # not whole any more
    assert [one["fixture"]["id"] for one in news(two, two.device)] == ["vise-b"]


def test_a_tablet_used_elsewhere_keeps_for_each_vise_the_sheet_of_that_vise(two: House) -> None:
    at_second(two, "mara")
    two.signed_off("mara")
    first = enrolling.news(
        two.store,
        two.keyring,
        enrolling.read_request(two.store, _request(two.device, []), two.clock()),
        two.clock(),
    )
    have = [one["hash"] for one in first["sheets"] or []]
    at_second(two, "mara")
    two.signed_off("mara")
    request = _request(two.device, have, own_machines=["mill-2"])
    then = enrolling.news(
        two.store, two.keyring, enrolling.read_request(two.store, request, two.clock()), two.clock()
    )
    assert [one["hash"] for one in then["sheets"] or []] == have


def _request(device: Device, have: list[str], **more: Any) -> str:
    payload = {"domain": "zerokeep/request/1", "challenge": "c", "have": have, "setups": [], **more}
    return str(device.signed({**payload, "asks_which_fixture": True}, "zerokeep-request+jws"))


def test_a_fixture_is_on_one_machine_at_a_time(two: House) -> None:
    over = items.found(two.store, "machine", "mill-2").version
    wanted = Wanted("machine", "mill-2", replace(SECOND_MILL, more_fixtures=(SECOND,)), over)
    with pytest.raises(FixtureElsewhere) as refused:
        items.look(two.store, wanted, "ines", two.clock())
    assert refused.value.fields == {"fixture": "Vise C", "machine": "Plover"}
    twice = replace(with_second_vise().machines[1], more_fixtures=(SECOND,))
    shop = replace(with_second_vise(), machines=(with_second_vise().machines[0], twice))
    with pytest.raises(ShopFileError) as file:
        loaded(two, shop)
    assert "services.fixture_elsewhere" in [fault.code for fault in file.value.faults]


def test_a_slot_says_of_which_vise_it_is_by_the_name_that_the_vise_has_now(two: House) -> None:
    """Or two that exchanged their names would be taken for each other, and a renamed one for another."""
    at_second(two, "mara")
    with two.store.writing():
        fixtures = two.store.shop.items("fixture")
        two.store.shop.put("fixture", FIRST, {**fixtures[FIRST], "name": "Vise C"})
        two.store.shop.put("fixture", SECOND, {**fixtures[SECOND], "name": "Vise A"})
    assert slot(two, FIRST)["last_fixture_name"] == "Vise A" == sheet(two, SECOND)["fixture"]["name"]


def changed(house: House, kind: Any, item: Any) -> Wanted:
    return Wanted(kind, item.id, item, items.found(house.store, kind, item.id).version)


def test_two_fixtures_of_a_machine_and_two_machines_never_have_one_name(two: House) -> None:
    """At the tablet they are chosen by their names alone."""
    second = items.found(two.store, "fixture", SECOND).item
    for name in ("Vise A", " vise  a"):
        with pytest.raises(FixtureNameTaken) as refused:
            items.look(two.store, changed(two, "fixture", replace(second, name=name)), "ines", two.clock())
        assert refused.value.fields["machine"] == "Plover"
    with pytest.raises(MachineNameTaken) as taken:
        items.look(
            two.store, changed(two, "machine", replace(SECOND_MILL, name="plover")), "ines", two.clock()
        )
    assert taken.value.fields["name"].casefold() == "plover"
    elsewhere = replace(second, name="Vise B")
    items.look(
        two.store, changed(two, "fixture", elsewhere), "ines", two.clock()
    )  # on Dunlin one is called so
    shop = with_second_vise()
    named = [replace(one, name="Vise A") if one.id == SECOND else one for one in shop.fixtures]
    with pytest.raises(ShopFileError) as file:
        loaded(two, replace(shop, fixtures=tuple(named)))
    assert [fault.code for fault in file.value.faults] == ["services.fixture_name_taken"]


def test_what_was_called_the_same_before_keeps_nobody_from_changing_something_else(two: House) -> None:
    second = items.found(two.store, "fixture", SECOND).item
    with two.store.writing():
        two.store.shop.put("fixture", SECOND, as_stored(as_plain(replace(second, name="Vise A"))))
    higher = replace(second, name="Vise A", stops_above_jaw_nm=3_000_000)
    items.look(two.store, changed(two, "fixture", higher), "ines", two.clock())
    items.look(two.store, changed(two, "fixture", replace(second, name="Vise E")), "ines", two.clock())


def test_a_fixture_that_comes_from_another_machine_begins_a_seating_first(two: House) -> None:
    at_second(two, "mara")
    over = items.found(two.store, "machine", "mill-1").version
    took = Wanted("machine", "mill-1", replace(MILL, more_fixtures=()), over)
    looked = items.look(two.store, took, "ines", two.clock()).version
    items.keep(two.store, took, "Moved.", "ines", two.clock(), looked)
    over = items.found(two.store, "machine", "mill-2").version
    wanted = Wanted("machine", "mill-2", replace(SECOND_MILL, more_fixtures=(SECOND,)), over)
    with pytest.raises(SeatingOfElsewhere):
        items.look(two.store, wanted, "ines", two.clock())
    seatings.start_seating(two.store, SECOND, "vise-c-2", "Bolted to Dunlin.", "ines", two.clock())
    looked = items.look(two.store, wanted, "ines", two.clock()).version
    items.keep(two.store, wanted, "Bolted there.", "ines", two.clock(), looked)
    there = json.loads(two.sheet("mill-2", SECOND)[1])
    assert {axis["usual"]["centre_nm"] for axis in there["axes"]} == {None}
    assert audit(two.store) == []


def test_a_shop_with_a_second_vise_leaves_as_a_file_and_comes_back_the_same(two: House) -> None:
    text = write_shop(as_file.shop_of(two.store), field_words.in_file)
    assert 'more_fixtures = ["vise-c"]' in text
    assert read_shop(text).machines[0].fixtures == (FIRST, SECOND)
    assert loaded(two, read_shop(text)) == []
    twice = text.replace("more_fixtures = []", 'more_fixtures = ["vise-c"]')
    with pytest.raises(ShopFileError) as refused:
        read_shop(twice)
    assert [fault.code for fault in refused.value.faults] == ["shop_file.fixture_twice"]


def moved(house: House, machine: str, **change: Any) -> str:
    """Change a machine at the desk as a lead does; its id."""
    now = items.found(house.store, "machine", machine)
    wanted = Wanted("machine", machine, replace(now.item, **change), now.version)
    looked = items.look(house.store, wanted, "ines", house.clock()).version
    return items.keep(house.store, wanted, "Moved.", "ines", house.clock(), looked)


def begun(house: House, seating: str, fixture: str = SECOND) -> None:
    house.clock.forward(minutes=2)
    seatings.start_seating(house.store, fixture, seating, "Bolted anew.", "ines", house.clock())


def test_a_machine_comes_back_into_use_with_no_vise_that_sat_elsewhere_meanwhile(two: House) -> None:
    out_of_use.take_out(two.store, "machine", "mill-1", "In repair.", "ines", two.clock())
    begun(two, "vise-c-2")
    moved(two, "mill-2", more_fixtures=(SECOND,))
    two.sheet("mill-2", SECOND)
    moved(two, "mill-2", more_fixtures=())
    back = two.store, "machine", "mill-1", "Repaired.", "ines", two.clock(), "unused"
    with pytest.raises(SeatingOfElsewhere) as refused:
        out_of_use.take_back(*back)
    assert refused.value.fields == {"fixture": "Vise C", "machine": "Dunlin"}
    begun(two, "vise-c-3")
    out_of_use.take_back(*back)
    assert sheet(two, SECOND)["fixture"]["seating"]["id"] == "vise-c-3"


def test_a_machine_comes_back_into_use_with_the_vises_that_stayed_on_it(two: House) -> None:
    at_second(two)
    out_of_use.take_out(two.store, "machine", "mill-1", "In repair.", "ines", two.clock())
    out_of_use.take_back(two.store, "machine", "mill-1", "Repaired.", "ines", two.clock(), "unused")
    assert {axis: one["centre_nm"] for axis, one in usual(two, SECOND).items()} == RIGHT_NM


def test_past_values_of_one_machine_keep_their_seating_from_another(two: House) -> None:
    keep_table(two, "mill-1", SECOND, "vise-c-1")
    moved(two, "mill-1", more_fixtures=())
    with pytest.raises(SeatingOfElsewhere):
        moved(two, "mill-2", more_fixtures=(SECOND,))
    begun(two, "vise-c-2")
    moved(two, "mill-2", more_fixtures=(SECOND,))


def keep_table(house: House, machine: str, fixture: str, seating: str) -> None:
    """A table with one line of past values, taken in before any sheet was made."""
    head = "at_utc,machine,fixture,seating,x_mm"
    table = f"{head}\r\n2026-11-20,{machine},{fixture},{seating},-200.000\r\n".encode()
    past_values.take_in(house.store, lambda: [table], "book.csv", "ines", house.clock(), all_the_same="every")


def test_setups_that_wait_keep_a_seating_begun_before_them_from_another_machine(two: House) -> None:
    walk = two.signed(fixture=SECOND, values_nm=dict(RIGHT_NM))
    two.clock.forward(minutes=5)
    today = two.clock().date()
    seatings.start_seating(two.store, SECOND, "vise-c-2", "Today.", "ines", two.clock(), today)
    moved(two, "mill-1", more_fixtures=())
    with pytest.raises(SeatingOfElsewhere):
        moved(two, "mill-2", more_fixtures=(SECOND,))
    begun(two, "vise-c-3")
    moved(two, "mill-2", more_fixtures=(SECOND,))
    two.sign_off(walk.setup)
    with two.store.reading():
        assert {row["seating"] for row in kept_values(two.store, SECOND)} == {"vise-c-2"}
    assert audit(two.store) == []


def test_a_setup_that_waits_keeps_a_seating_however_many_were_heard_of_since(two: House) -> None:
    """A list of the newest five hundred would not have it."""
    walk = two.signed(fixture=SECOND, values_nm=dict(RIGHT_NM))
    with two.store.writing():
        row = two.store.setups.setup(walk.setup)
        assert row is not None
        earlier = {name: value for name, value in row.items() if name != "id"}
        earlier |= {"started_at_utc": "2020-01-01T00:00:00.000Z", "last_at_utc": "2099-01-01T00:00:00.000Z"}
        for number in range(501):
            two.store.setups.put_setup(f"left-{number}", **earlier)
    two.clock.forward(minutes=5)
    today = two.clock().date()
    seatings.start_seating(two.store, SECOND, "vise-c-2", "Today.", "ines", two.clock(), today)
    moved(two, "mill-1", more_fixtures=())
    with pytest.raises(SeatingOfElsewhere):
        moved(two, "mill-2", more_fixtures=(SECOND,))


def on_another_machine(house: House) -> None:
    """The second vise of the first machine, bolted to the other one in a new seating."""
    moved(house, "mill-1", more_fixtures=())
    begun(house, "vise-c-2")
    moved(house, "mill-2", more_fixtures=(SECOND,))


def other_seatings(house: House, machine: str) -> set[str]:
    axes = json.loads(house.sheet(machine, SECOND)[1])["axes"]
    found = [one["code"] for axis in axes for one in axis["causes"]["candidates"]]
    return {code for code in found if code == "cause.other_seating"}


def test_where_a_vise_sat_on_another_machine_explains_no_touch_on_this_one(two: House) -> None:
    keep_table(two, "mill-1", SECOND, "vise-c-1")
    begun(two, "vise-c-1b")
    at_second(two, "tomas")
    begun(two, "vise-c-1c")
    at_second(two)
    assert other_seatings(two, "mill-1") == {"cause.other_seating"}
    on_another_machine(two)
    keep_past(two, [RIGHT_NM["X"]], fixture=SECOND, machine="mill-2", seating="vise-c-2")
    assert other_seatings(two, "mill-2") == set()


def test_a_value_that_waits_is_held_against_no_line_of_a_machine_that_its_vise_came_to(two: House) -> None:
    at_second(two, "tomas")
    walk = two.signed(fixture=SECOND, values_nm=dict(RIGHT_NM))
    on_another_machine(two)
    stake = signing_off.values_at_stake(two.store, walk.setup)
    assert {one.before for one in stake.joinings} == {one.after for one in stake.joinings} == {None}
    assert {one.standing for one in stake.joinings} == {"within"}  # as it was touched
    two.sign_off(walk.setup)
    with two.store.reading():
        assert {row["seating"] for row in kept_values(two.store, SECOND)} == {"vise-c-1"}
    assert audit(two.store) == []
