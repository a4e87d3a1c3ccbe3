"""The shop's own time stands beside UTC with its offset, and a name that is no zone is refused by name.

Source: the offsets of Europe/Oslo (+01:00, and +02:00 from the last Sunday of March to the last of October,
2000/84/EC) and of Asia/Kathmandu (+05:45), as the IANA time zone database has them.
"""

from dataclasses import replace
from datetime import date

import pytest

from tests.record.made_up import made_sheet, normal
from webapp.domain.plain.zones import day_begins_utc, is_zone, local_by_offsets, local_time, offsets
from webapp.domain.record.facts import record_facts
from webapp.domain.shop.examples import RULES
from webapp.domain.shop.fields import ShopFieldError, as_plain, from_plain
from webapp.domain.shop.shop import ShopRules
from webapp.words import say


@pytest.mark.parametrize(
    ("at_utc", "zone", "shown"),
    [
        ("2026-11-25T08:03:12.345Z", "Europe/Oslo", "09:03 +01:00"),
        ("2026-07-01T08:03:12.345Z", "Europe/Oslo", "10:03 +02:00"),
        ("2026-03-29T00:59:00.000Z", "Europe/Oslo", "01:59 +01:00"),
        ("2026-03-29T01:00:00.000Z", "Europe/Oslo", "03:00 +02:00"),
        ("2026-11-25T23:30:00.000Z", "Europe/Oslo", "2026-11-26 00:30 +01:00"),
        ("2026-11-25T08:00:00.000Z", "Asia/Kathmandu", "13:45 +05:45"),
        ("2026-11-25T03:00:00.000Z", "America/St_Johns", "2026-11-24 23:30 -03:30"),
    ],
)
def test_a_moment_is_shown_in_the_zone_with_its_offset(at_utc: str, zone: str, shown: str) -> None:
    assert local_time(at_utc, zone) == shown


def test_a_shop_that_keeps_utc_has_no_second_time() -> None:
    assert local_time("2026-11-25T08:03:12.345Z", "UTC") is None
    assert RULES.time_zone == "UTC"


@pytest.mark.parametrize(
    "name", ["Europe/Nowhere", "", "../etc/passwd", "/etc/localtime", "Europe", "CET ", "x\0y"]
)
def test_a_name_that_is_no_zone_is_refused_by_name(name: str) -> None:
    assert not is_zone(name)
    with pytest.raises(ShopFieldError) as refused:
        replace(RULES, time_zone=name)
    assert refused.value.fields["field"] == "time_zone"
    assert "such as Europe/Oslo" in say(refused.value.code, refused.value.fields)


def test_rules_that_were_kept_before_zones_keep_utc() -> None:
    kept = as_plain(RULES)
    del kept["time_zone"]
    assert from_plain(ShopRules, kept).time_zone == "UTC"


def test_a_sheet_carries_the_offsets_to_come_with_the_minute_of_each_change() -> None:
    assert offsets("Europe/Oslo", "2026-11-25T07:00:00.000Z") == [
        {"from_utc": "2026-11-25T07:00:00.000Z", "minutes": 60},
        {"from_utc": "2027-03-28T01:00:00.000Z", "minutes": 120},
        {"from_utc": "2027-10-31T01:00:00.000Z", "minutes": 60},
    ]
    assert offsets("Asia/Kathmandu", "2026-11-25T07:00:00.000Z") == [
        {"from_utc": "2026-11-25T07:00:00.000Z", "minutes": 345}
    ]
    assert offsets("UTC", "2026-11-25T07:00:00.000Z") == []


@pytest.mark.parametrize("zone", ["Europe/Oslo", "America/St_Johns", "Australia/Lord_Howe"])
def test_by_its_offsets_a_sheet_tells_the_same_time_as_the_zone(zone: str) -> None:
    known = offsets(zone, "2026-11-25T07:00:00.000Z")
    for month in range(1, 13):
        at_utc = f"2027-{month:02d}-11T22:45:00.000Z"
        assert local_by_offsets(at_utc, known) == local_time(at_utc, zone)
    assert local_by_offsets("2026-11-25T06:59:59.999Z", known) is None, "a time before the sheet"


def test_a_record_says_the_shops_time_by_the_offsets_of_its_sheet_and_by_nothing_else() -> None:
    sheet = made_sheet()
    sheet["shop"] |= {"time_zone": "Nowhere/Atall", "offsets": [{"from_utc": "2026-01-01", "minutes": 90}]}
    facts = record_facts(normal(sheet).bundle(), final=True)
    assert facts.started.endswith("+00:00 (09:30 +01:30)"), facts.started
    assert all("+01:30)" in one.at for one in facts.signatures)
    assert record_facts(normal().bundle(), final=True).started.endswith("+00:00")


def test_a_day_begins_where_the_shop_is() -> None:
    assert day_begins_utc(date(2026, 11, 29), "Europe/Oslo") == "2026-11-28T23:00:00.000Z"
    assert day_begins_utc(date(2026, 11, 29), "UTC", 1) == "2026-11-30T00:00:00.000Z"
    # Beirut puts its clock forward at midnight:
    # that day begins with 01:00 (IANA time zone database, rule Lebanon).
    assert day_begins_utc(date(2026, 3, 29), "Asia/Beirut") == "2026-03-28T22:00:00.000Z"
    with pytest.raises(OverflowError):
        day_begins_utc(date.max, "UTC", 1)
