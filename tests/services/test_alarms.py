"""What a tablet reports of the ledger is bounded by the day, however often it signs: twenty times."""

from __future__ import annotations

from tests.kit.house import House
from webapp.services.evidence.open_alarms import unanswered
from webapp.services.intake import alarms
from webapp.store.rows import DeviceRow

HEAD = {"size": 3, "root": "ab" * 32, "note": "a head that was signed"}

A_DAY = 20  # common practice, no source: more than a tablet that works ever has to tell


def report(house: House, number: int) -> str:
    """A report as a tablet signs one; each is another text."""
    at_utc = f"2026-11-25T08:00:00.{number:03}Z"
    told = {"domain": "zerokeep/alarm/1", "kind": "forked", "kept": HEAD, "got": None, "at_utc": at_utc}
    return house.device.signed(told, alarms.ALARM_TYPE)


def test_a_tablet_that_reports_again_and_again_is_noted_so_often_a_day_and_no_more(house: House) -> None:
    with house.store.reading():
        device = house.store.devices.device(house.device.id)
    assert device is not None
    reports = [report(house, number) for number in range(A_DAY + 2)]
    told = [alarms.take(house.store, device, one, house.clock()) for one in reports]
    assert [one is None for one in told] == [False] * A_DAY + [True] * 2
    assert alarms.take(house.store, device, reports[0], house.clock()) is not None
    assert len(alarms.open_alarms(house.store)) == A_DAY
    house.clock.forward(days=1)
    assert alarms.take(house.store, device, reports[-1], house.clock()) is not None


def test_no_tablet_pushes_the_report_of_another_out_of_sight(house: House) -> None:
    with house.store.reading():
        device = house.store.devices.device(house.device.id)
    assert device is not None
    first = report(house, 999)
    assert alarms.take(house.store, device, first, house.clock()) is not None
    loud: DeviceRow = {**device, "id": "another-tablet"}
    for day in range(3):
        house.clock.forward(days=1)
        for number in range(alarms.MOST_A_DAY):
            assert alarms.take(house.store, loud, report(house, day * 100 + number), house.clock())
    assert [one.device for one in alarms.open_alarms(house.store)][-1] == device["id"]
    with house.store.reading():
        assert [row["subject"] for row in unanswered(house.store)].count(device["id"]) == 1
