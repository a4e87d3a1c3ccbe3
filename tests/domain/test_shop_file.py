"""A shop file gives the shop, or every fault at once with its place."""

from dataclasses import replace
from datetime import date

import pytest

from webapp.demo.demo_shop import demo_shop_text
from webapp.domain.shop.faults_between import new_owner_faults, seatings_to_come
from webapp.domain.shop.shop_file import ShopFileError, read_shop
from webapp.domain.shop.told_shop import SlotAssignment
from webapp.words import say

DEMO = demo_shop_text(date(2026, 11, 25))
VISE = "fixture “plover-vise”"
VISE_B = "fixture “dunlin-vise”"
SINCE = "since = 2026-07-30T07:30:00Z"
NO_TABLES = "shop_file.not_a_list_of_tables"
NOT_LENGTH = "shop_file.not_a_length"


def faults(text: str) -> list[tuple[str, str]]:
    with pytest.raises(ShopFileError) as refused:
        read_shop(text)
    for fault in refused.value.faults:
        say(fault.code, fault.fields)
    return [(str(fault.fields.get("place", "")), fault.code) for fault in refused.value.faults]


def test_the_demo_shop_is_a_sound_shop_file() -> None:
    shop = read_shop(DEMO)
    assert {machine.id: machine.unit for machine in shop.machines} == {"plover": "mm", "dunlin": "in"}
    assert len(shop.people) == 12
    assert {seating.fixture for seating in shop.seatings} == {"plover-vise", "dunlin-vise"}
    assert len(shop.seatings) == 4
    assert {fixture.id: fixture.square_apart_nm for fixture in shop.fixtures} == {
        "plover-vise": 0,
        "dunlin-vise": 101_600_000,
    }
    assert shop.rules.time_zone == "Europe/Oslo"


def test_lengths_of_every_unit_become_the_same_whole_nanometres() -> None:
    in_mm = read_shop(DEMO.replace("jaw_length_in = 6", "jaw_length_mm = 152.4"))
    in_um = read_shop(DEMO.replace("jaw_length_in = 6", "jaw_length_um = 152400"))
    assert in_mm.fixtures == in_um.fixtures == read_shop(DEMO).fixtures
    assert in_mm.fixtures[1].jaw_length_nm == 152_400_000


@pytest.mark.parametrize("typed", ["g55", " G 55", "55", "G055"])
def test_a_slot_has_the_spelling_of_its_machines_family_however_it_is_typed(typed: str) -> None:
    shop = read_shop(DEMO.replace('label = "G55"', f'label = "{typed}"'))
    assert shop.slots == read_shop(DEMO).slots
    assert "G55" in {slot.label for slot in shop.slots}


def test_an_end_counts_to_the_end_of_its_day_in_the_shops_zone() -> None:
    """Oslo lies an hour ahead of UTC in November (IANA tz, CET)."""
    koji = [given for given in read_shop(DEMO).authorisations if given.person == "koji"]
    assert [given.until_utc for given in koji] == ["2026-11-16T23:00:00.000Z"]


def test_a_seating_begins_with_its_day_in_the_shops_zone() -> None:
    """In summer Oslo lies two hours ahead (IANA tz, CEST)."""
    shop = read_shop(DEMO.replace(SINCE, "since = 2026-07-30"))
    assert shop.seatings[0].since_utc == "2026-07-29T22:00:00.000Z"


def test_a_seating_that_is_still_to_come_is_a_fault() -> None:
    shop = read_shop(DEMO.replace("since = 2026-10-04T07:30:00Z", "since = 2026-12-24"))
    found = seatings_to_come(shop, "2026-11-25T12:00:00.000Z")
    assert [one.fields["id"] for one in found] == ["plover-vise-2"]
    assert seatings_to_come(read_shop(DEMO), "2026-11-25T12:00:00.000Z") == []


def test_tool_numbers_may_stand_as_numbers_and_feeds_in_the_machines_unit() -> None:
    other = DEMO.replace("probe_tool = 16", 'probe_tool = "16"').replace(
        "first_feed_in_per_min = 30", "first_feed_mm_per_min = 762"
    )
    assert other != DEMO
    assert read_shop(other) == read_shop(DEMO)
    assert faults(DEMO.replace("first_feed_in_per_min = 30", 'first_feed_in_per_min = "30"')) == [
        ("machine “dunlin”, first_feed_mm_per_min", "shop_file.field_wrong")
    ]


def test_a_machine_that_never_asks_leaves_the_limit_out() -> None:
    shop = read_shop(DEMO.replace("confirm_limit_in = 0.5\n", ""))
    assert [machine.confirm_limit_nm for machine in shop.machines] == [50_000_000, None]


def test_every_fault_is_listed_at_once_with_its_place() -> None:
    broken = (
        DEMO.replace('unit = "in"', 'unit = "inch"')
        .replace('owner = "ilse"', 'owner = "ilsa"')
        .replace("decimals = 3", "decimals = 9")
        .replace('roles = ["auditor"]', 'roles = ["boss"]')
        .replace("jaw_length_mm = 160", "jaw_length = 160\nwidht = 2")
        .replace("u_probe_um = 1.2", "u_probe_um = true")
    )
    assert faults(broken) == [
        ("machine “plover”", "length.display_not_exact"),
        ("machine “dunlin”, unit", "shop_file.field_wrong"),
        ("fixture “plover-vise”", "shop_file.unknown_field"),
        ("fixture “plover-vise”", "shop_file.unknown_field"),
        ("fixture “plover-vise”", "shop_file.field_missing"),
        ("probe “probe-4”, u_probe_um", "shop_file.not_a_length"),
        ("person “ruth”, roles", "shop_file.field_wrong"),
        ("slot dunlin W4", "shop_file.unknown_name"),
    ]


@pytest.mark.parametrize(
    ("old", "new", "place", "code"),
    [
        ("[shop]", "[shop", "", "shop_file.not_toml"),
        ("[shop]", "[shops]", "shops", "shop_file.unknown_table"),
        ("[[probe]]", "[probe]", "", "shop_file.not_toml"),
        ("jaw_height_mm = 45", "jaw_height_mm = 45.0000001", f"{VISE}, jaw_height_mm",
         "shop_file.length_not_whole"),
        ("stylus_reach_mm = 40", 'stylus_reach_mm = "40"', "probe “probe-6”, stylus_reach_mm", NOT_LENGTH),
        ('id = "probe-4"', 'id = "probe-6"', "probe “probe-6”", "shop_file.id_twice"),
        ('id = "probe-4"', 'id = "new"', "probe “new”", "shop_file.id_taken"),
        ('id = "henk"', 'id = "server"', "person “server”", "shop_file.id_taken"),
        ('roles = ["lead"]', 'roles = ["boss"]', "person “henk”, roles", "shop_file.field_wrong"),
        ('probe = "probe-4"', 'probe = "probe-9"', "machine “dunlin”", "shop_file.unknown_name"),
        ('label = "W5"', 'label = "W4"', "slot dunlin W4", "shop_file.slot_twice"),
        ('label = "W5"', 'label = "W99"', "slot dunlin W99", "slots.label_not_in_family"),
        ('kind = "shop"', 'kind = "mine"', "slot 1 (plover G54)", "shop_file.slot_kind"),
        ('kind = "shop"', 'kind = "person"', "slot plover G54", "slots.without_owner"),
        ("until = 2027-03-25", "until = 5", "person “odile”, authorised", "shop_file.not_a_date"),
        ("decimals = 3", 'decimals = "3"', "machine “plover”, decimals", "shop_file.field_wrong"),
        ('slot_family = "W1-W24"', "slot_family = 54", "machine “dunlin”, slot_family",
         "shop_file.field_wrong"),
        ('label = "W5"', "label = 5", "slot 13 (dunlin 5)", "shop_file.not_text"),
        ('owner = "ilse"', "owner = 7", "slot 12 (dunlin W4)", "shop_file.not_text"),
        ("until = 2027-03-25", "till = 2027-03-25", "person “odile”, authorised", "shop_file.unknown_field"),
        ('authorised = [{ machine = "plover", until', "authorised = [{ until", "person “mara”, authorised",
         "shop_file.field_missing"),
        ("authorised = [", "authorised = [3, ", "person “mara”, authorised", NO_TABLES),
        ("seating = [", "seating = [3, ", f"{VISE}, seating", NO_TABLES),
        (SINCE, "since = 2026-07-30T07:30:00", f"{VISE}, seating", "shop_file.time_without_zone"),
        (SINCE, "since = 2026-11-01T07:30:00Z", f"{VISE}, seating", "shop_file.seatings_out_of_order"),
        ('id = "dunlin-vise-1"', 'id = "plover-vise-1"', "seating", "shop_file.id_twice"),
        ("square_apart_in = 4 ", "square_apart_in = 6 ", f"{VISE_B}, square_apart_nm",
         "shop_file.field_wrong"),
        ('time_zone = "Europe/Oslo"', 'time_zone = "Europe/Osl"', "shop, time_zone", "shop_file.field_wrong"),
        ("parking_tool = 20", "parking_tool = 16", "machine “dunlin”, parking_tool",
         "shop_file.field_wrong"),
    ],
)  # fmt: skip
def test_a_fault_is_named_with_its_place(old: str, new: str, place: str, code: str) -> None:
    assert old in DEMO
    assert (place, code) in faults(DEMO.replace(old, new))


def test_a_shop_without_a_lead_is_refused() -> None:
    no_lead = DEMO.replace('"lead", "operator"', '"operator"').replace('["lead"]', '["auditor"]')
    assert faults(no_lead) == [("person", "shop_file.no_lead")]


def test_a_fixture_without_a_seating_is_refused() -> None:
    first = DEMO.index("seating = [")
    without = DEMO[:first] + DEMO[DEMO.index("]\n", first) + 2 :]
    assert ("fixture “plover-vise”", "shop_file.no_seating") in faults(without)


def test_an_empty_file_says_what_is_missing() -> None:
    assert ("shop", "shop_file.no_shop_table") in faults("")


class CountedText(str):
    """A text that counts how often it is compared."""

    __slots__ = ()
    compared = 0

    def __eq__(self, other: object) -> bool:
        CountedText.compared += 1
        return str.__eq__(self, other)

    __hash__ = str.__hash__


def compared_for(slots: int) -> int:
    """How often machines are compared for so many slots, twenty at each, all of which stay."""
    given = tuple(
        SlotAssignment(CountedText(f"mill-{number // 20}"), f"G{number}", "person", f"person-{number}", None)
        for number in range(slots)
    )
    owners = {(CountedText(one.machine), one.label): one.owner for one in given}
    CountedText.compared = 0
    assert new_owner_faults(replace(read_shop(DEMO), slots=given), owners, ()) == []
    return CountedText.compared


def test_whose_slots_are_is_looked_at_once_for_each_however_many_there_are() -> None:
    assert 0 < compared_for(800) <= 1.5 * 8 * compared_for(100)
