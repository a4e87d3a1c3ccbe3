"""The shop's own time beside UTC.

Rules of this module:
- A zone is a name of the IANA time zone database, such as Europe/Oslo (BCP 175, RFC 6557);
  "UTC" where a shop has named none.
- Everything is kept in UTC. The shop's time is worked out where somebody reads, always with its offset,
  and UTC stays beside it: a rule of a zone may change, a time that was kept does not.
- A sheet carries the offsets of the days that its setup may be signed off in,
  so that a record says the same for ever, whatever a later edition of the database says.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta, timezone
from typing import TypedDict
from zoneinfo import ZoneInfo

UTC_NAME = "UTC"
AHEAD = timedelta(days=400)


def is_zone(name: object) -> bool:
    """Tell whether the database knows this name."""
    if not isinstance(name, str) or not name:
        return False
    try:
        ZoneInfo(name)
    except (KeyError, OSError, ValueError):  # no such zone, a folder of zones, or a name that leads elsewhere
        return False
    return True


class TimeOffset(TypedDict):
    """From when on a zone lies how many minutes ahead of UTC."""

    from_utc: str
    minutes: int


def local_time(at_utc: str, zone: str) -> str | None:
    """Return "09:30 +02:00" in this zone, with the day before it where that is another;
    None where the zone is UTC.
    """
    if zone == UTC_NAME:
        return None
    at = datetime.fromisoformat(at_utc)
    return _beside(at, at.astimezone(ZoneInfo(zone)))


def shop_time(at_utc: str, zone: str) -> datetime:
    """Return the moment in this zone."""
    return datetime.fromisoformat(at_utc).astimezone(ZoneInfo(zone))


def shop_moment(at_utc: str, zone: str) -> str:
    """Return "2026-11-25 09:30 +01:00" in this zone, with its day and its offset whatever the zone is."""
    local = shop_time(at_utc, zone)
    return f"{local:%Y-%m-%d %H:%M} {local.isoformat()[-6:]}"


def utc_beside(at_utc: str, zone: str) -> str:
    """Return "08:30 UTC" for what stands beside the zone's own time, with the day before it where that is
    another; nothing where the zone is UTC.
    """
    if zone == UTC_NAME:
        return ""
    at = datetime.fromisoformat(at_utc).astimezone(UTC)
    day = "" if shop_time(at_utc, zone).date() == at.date() else f"{at:%Y-%m-%d} "
    return f"{day}{at:%H:%M} UTC"


def offsets(zone: str, from_utc: str) -> list[TimeOffset]:
    """Return the zone's offsets from a time on, for 400 days:
    [{"from_utc", "minutes"}], the first from that time.

    Empty for UTC. A change stands there with its minute.
    """
    if zone == UTC_NAME:
        return []
    place, start = ZoneInfo(zone), datetime.fromisoformat(from_utc)
    found: list[TimeOffset] = [{"from_utc": from_utc, "minutes": _minutes(start, place)}]
    day = start
    while day < start + AHEAD:
        day, before = day + timedelta(days=1), day
        if _minutes(day, place) != _minutes(before, place):
            change = _change(before, day, place)
            text = change.isoformat(timespec="milliseconds").replace("+00:00", "Z")
            found.append({"from_utc": text, "minutes": _minutes(change, place)})
    return found


def local_by_offsets(at_utc: str, known: Iterable[TimeOffset]) -> str | None:
    """Return the local time as `local_time` does, by a sheet's offsets; None for a time before the first."""
    minutes = [one["minutes"] for one in known if one["from_utc"] <= at_utc]
    if not minutes:
        return None
    at = datetime.fromisoformat(at_utc)
    return _beside(at, at.astimezone(timezone(timedelta(minutes=minutes[-1]))))


def day_begins_utc(day: date, zone: str, days_later: int = 0) -> str:
    """Return when a day (or one so many days later) begins in this zone, as UTC text with milliseconds.

    Where the clock is put forward over midnight it begins with the first minute that there is.
    Raises OverflowError for a day at the end of the calendar.
    """
    begins = datetime.combine(day + timedelta(days=days_later), time.min, ZoneInfo(zone)).astimezone(UTC)
    return begins.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def typed_day_begins_utc(day: str, zone: str, days_later: int = 0) -> str | None:
    """Return the same for a day that was typed as YYYY-MM-DD; None for what is no day."""
    try:
        return day_begins_utc(date.fromisoformat(day), zone, days_later)
    except (ValueError, OverflowError):
        return None


def _beside(at: datetime, local: datetime) -> str:
    day = "" if local.date() == at.date() else f"{local:%Y-%m-%d} "
    return f"{day}{local:%H:%M} {local.isoformat()[-6:]}"


def _minutes(at: datetime, place: ZoneInfo) -> int:
    offset = at.astimezone(place).utcoffset() or timedelta()
    return int(offset.total_seconds() // 60)


def _change(before: datetime, after: datetime, place: ZoneInfo) -> datetime:
    """Return the first whole minute of the new offset between two times with different ones."""
    low, high = int(before.timestamp() // 60), int(after.timestamp() // 60)
    new = _minutes(after, place)
    while high - low > 1:
        middle = (low + high) // 2
        if _minutes(datetime.fromtimestamp(middle * 60, UTC), place) == new:
            high = middle
        else:
            low = middle
    return datetime.fromtimestamp(high * 60, UTC)
