"""A shop written out is read back the same, and the starter loads once every place in it is filled in."""

import re
from dataclasses import fields, replace
from datetime import date

import pytest

from tests.kit.shop import SHOP
from webapp import field_words
from webapp.demo.demo_shop import demo_shop_text
from webapp.domain.shop.asked import ASKED, KINDS
from webapp.domain.shop.shop import Fixture, Machine, Probe, ShopRules
from webapp.domain.shop.shop_file import ShopFileError, read_shop
from webapp.domain.shop.shop_text import starter, write_shop
from webapp.domain.shop.told_shop import Shop
from webapp.domain.shop.typed_item import CLASSES

DEMO = read_shop(demo_shop_text(date(2026, 11, 25)))
# A file leaves free slots out, and has rights beside their person.
NO_FREE = replace(
    SHOP,
    slots=tuple(one for one in SHOP.slots if one.kind != "free"),
    authorisations=tuple(
        sorted(SHOP.authorisations, key=lambda one: [p.id for p in SHOP.people].index(one.person))
    ),
)
TODAY = date(2026, 11, 25)
FILLED = {
    "name": '"Kettle Lane"', "lead": '"Ines, ext. 12"', "time_zone": '"Europe/Oslo"', "unit": '"in"',
    "decimals": "4", "travel_mm": "{ X = [-762, 0], Y = [-406.4, 0], Z = [-508, 0] }",
    "z_zero_at_top": "true", "slot_family": '"W1-W24"', "slot_written": '"key"', "probe_tool": "16",
    "parking_tool": "20", "changer": '"arm"', "feeds_typed": "true", "first_feed_mm_per_min": "762",
    "fine_feed_mm_per_min": "50", "deceleration_mm_per_s2": "400", "latency_s": "0.02", "door": '"guard"',
    "probing_stop": '"reset"', "hand_wheel": "false", "probe_switching": '"by_hand"',
    "jaw_length_mm": "160", "jaw_thickness_mm": "20", "jaw_height_mm": "45", "opening_mm": "80",
    "edge_break_mm": "0.5", "clamping_axis": '"Y"', "clamping_direction": "-1", "ball_diameter_mm": "6",
    "effective_radius_mm": "2.996", "radius_uncertainty_um": "1", "stylus_reach_mm": "40",
    "overtravel_side_mm": "9", "overtravel_up_mm": "4.5", "label": '"W3"',
}  # fmt: skip


@pytest.mark.parametrize("shop", [DEMO, NO_FREE], ids=["demo", "tests"])
def test_a_shop_written_out_is_read_back_the_same(shop: Shop) -> None:
    assert read_shop(write_shop(shop, field_words.in_file)) == shop


def test_odd_values_come_back_too() -> None:
    """Lengths that inches do not have, names that TOML has to escape, ends that are no end of a day."""
    machine = replace(DEMO.machines[1], first_feed_mm_per_min=761.3, confirm_limit_nm=None, probe_tool="016")
    rules = replace(
        DEMO.rules, name='The "wharf" \\ Søndre', least_ask_nm=None, temperature_half_range_kelvin=1e-5
    )
    given = (replace(DEMO.authorisations[0], until_utc=None),
             replace(DEMO.authorisations[1], until_utc="2027-01-01T09:30:12.345Z"))  # fmt: skip
    fixture = replace(DEMO.fixtures[1], jaw_length_nm=152_400_001, jaw_steps_nm=(1, 25_400_000))
    shop = replace(DEMO, rules=rules, machines=(machine,), authorisations=given,
                   fixtures=(fixture,), seatings=DEMO.seatings[2:],
                   slots=tuple(one for one in DEMO.slots if one.machine == machine.id))  # fmt: skip
    people = tuple(one for one in DEMO.people)
    shop = replace(shop, people=people, authorisations=tuple(
        one for one in given if one.machine == machine.id))  # fmt: skip
    assert read_shop(write_shop(shop, field_words.in_file)) == shop


def test_every_field_of_a_file_has_its_words_and_every_input_has_them_too() -> None:
    for kind, item in (("shop", ShopRules), ("machine", Machine), ("fixture", Fixture), ("probe", Probe)):
        for one in fields(item):
            if one.name not in {"id", "self_centring"}:
                assert len(field_words.in_file(kind, one.name)) > 1, f"{kind} {one.name}"
    for kind in KINDS:
        asked = {one.name for one in ASKED[kind] if not one.composed}
        assert asked <= {one.name for one in fields(CLASSES[kind])}
        for one in ASKED[kind]:
            assert field_words.help_of(kind, one.name), one.name
            if one.how in {"length", "um", "feed", "number", "travel"} and one.needed:
                assert field_words.usual(kind, one.name), f"{kind} {one.name} has no usual size"


def test_the_starter_lists_every_empty_place_at_once() -> None:
    with pytest.raises(ShopFileError) as refused:
        read_shop(starter(field_words.in_file, ["A start."], TODAY))
    assert len(refused.value.faults) > 20
    assert {fault.code for fault in refused.value.faults} >= {
        "shop_file.not_a_length",
        "shop_file.field_wrong",
    }


def test_the_starter_loads_once_it_is_filled_in() -> None:
    text = starter(field_words.in_file, ["A start."], TODAY)
    for key, value in FILLED.items():
        text, count = re.subn(rf"^{key} = .*$", f"{key} = {value}", text, flags=re.MULTILINE)
        assert count, key
    text = text.replace('# { axis = "X"', '{ axis = "X"').replace(",   or normal", ",   # or normal")
    text = text.replace('# { axis = "Y"', '{ axis = "Y"').replace(",      the", ",  # the")
    shop = read_shop(text)
    assert [face.face for face in shop.fixtures[0].faces] == ["top", "left_end", "front"]
    assert shop.authorisations[0].until_utc is None
    assert shop.slots[0].label == "W3"
