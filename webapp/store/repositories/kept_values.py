"""The values that a usual is made of, and those that were left out of it."""

import json
from collections.abc import Collection, Sequence
from typing import Any, cast

from webapp.store.repositories.base import Repository
from webapp.store.rows import KeptWithPerson, NewValue
from webapp.store.tables.setups import KeptValue

COUNTED_VALUES = (
    "SELECT seating, setup, value_nm, at_utc FROM kept_value "
    "WHERE fixture = ? AND axis = ? AND left_out_reason IS NULL ORDER BY at_utc, setup"
)
CHANGED_AFTER = "SELECT DISTINCT setup FROM kept_change WHERE fixture = ? AND axis = ? AND number > ?"
CHANGED_VALUES = (
    f"SELECT changed.setup, seating, value_nm, at_utc FROM ({CHANGED_AFTER}) AS changed "  # noqa: S608
    "LEFT JOIN kept_value ON kept_value.setup = changed.setup AND fixture = ? AND axis = ? AND "
    "left_out_reason IS NULL"
)
KEPT_PARTS = ("setup", "seating", "value_nm", "at_utc", "left_out_reason", "person", "has_page")
KEPT_WITH_PEOPLE = (
    "SELECT kept_value.setup, seating, value_nm, at_utc, left_out_reason, "
    "coalesce(setup.person, imported_setup.person), setup.id IS NOT NULL "
    "FROM kept_value LEFT JOIN setup ON setup.id = kept_value.setup "
    "LEFT JOIN imported_setup ON imported_setup.id = kept_value.setup "
    "WHERE fixture = ? AND axis = ? ORDER BY at_utc, kept_value.setup"
)
KEPT_NEWEST = KEPT_WITH_PEOPLE.replace(
    "AND axis = ? ORDER BY at_utc, kept_value.setup",
    "AND axis = ? AND seating = ? ORDER BY at_utc DESC, kept_value.setup DESC LIMIT ? OFFSET ?",
)
KEPT_OF = KEPT_WITH_PEOPLE.replace("AND axis = ? ORDER BY", "AND axis = ? AND kept_value.setup = ? ORDER BY")
# From each setup to its value: no index of all values of the axis is offered.
KEPT_AMONG = KEPT_WITH_PEOPLE.replace(
    "fixture = ? AND axis = ? ORDER", "fixture || '' = ? AND axis = ? AND kept_value.setup IN ({these}) ORDER"
)
KEPT_LEFT_OUT = KEPT_WITH_PEOPLE.replace(
    "AND axis = ? ORDER BY at_utc,",
    "AND axis = ? AND seating = ? AND left_out_reason IS NOT NULL ORDER BY at_utc || '',",
)
# From what was left out to its times: no index of times is offered, for all that counts stands in it.
LEFT_OUT_BEFORE = (
    "SELECT count(*) FROM kept_value WHERE fixture = ? AND axis = ? AND left_out_reason IS NOT NULL "
    "AND seating = ? AND (at_utc || '', setup) < (?, ?)"
)
# The nearest first: it is in the same seating as a rule.
KEPT_BEFORE = (
    "SELECT 1 FROM kept_value WHERE fixture = ? AND axis = ? AND seating = ? AND at_utc < ? "
    "ORDER BY at_utc DESC LIMIT 1"
)
LEFT_OUT = (
    "SELECT seating, count(*) FROM kept_value WHERE fixture = ? AND axis = ? AND left_out_reason IS NOT NULL "
    "GROUP BY seating"
)
# From each person to their setups, and from a setup to its own values: no index of seatings is offered.
WITH_VALUES_AT = (
    "SELECT value FROM ({these}) AS person WHERE EXISTS (SELECT 1 FROM setup CROSS JOIN kept_value "
    "WHERE kept_value.setup = setup.id AND setup.person = person.value "
    "AND kept_value.seating || '' = ? AND kept_value.left_out_reason IS NULL)"
)


class KeptValuesRepository(Repository):
    """The values of setups that were signed off or taken in, by fixture, axis and seating."""

    def keep_values(self, rows: Sequence[NewValue]) -> None:
        """Keep values of a setup that was signed off.
        Raises Conflict for a second value of a setup and axis.
        """
        for row in rows:
            self._run(KeptValue.insert(row))

    def kept_with_people(self, fixture: str, axis: str) -> list[KeptWithPerson]:
        """Values of one axis of a fixture, those left out too, oldest first:
        who brought each, and whether its setup was walked through here.
        """
        return self._kept(KEPT_WITH_PEOPLE, fixture, axis)

    def kept_of(self, fixture: str, axis: str, setup: str) -> list[KeptWithPerson]:
        """The one value of a setup on an axis of a fixture, left out or not; nothing where it has none."""
        return self._kept(KEPT_OF, fixture, axis, setup)

    def kept_newest(
        self, fixture: str, axis: str, seating: str, most: int, passed: int
    ) -> list[KeptWithPerson]:
        """The newest values of one axis in a seating, oldest first: so many at most, behind the newest
        `passed`.
        """
        return self._kept(KEPT_NEWEST, fixture, axis, seating, most, passed)[::-1]

    def kept_among(self, fixture: str, axis: str, setups: Collection[str]) -> list[KeptWithPerson]:
        """The values of these setups on an axis of a fixture, left out or not, oldest first."""
        rows = self._among(KEPT_AMONG, (fixture, axis, json.dumps(list(setups))))
        return list(map(_with_person, rows))

    def kept_left_out(self, fixture: str, axis: str, seating: str) -> list[KeptWithPerson]:
        """The values of one axis that were left out in a seating, oldest first."""
        return self._kept(KEPT_LEFT_OUT, fixture, axis, seating)

    def is_kept_before(self, fixture: str, axis: str, seating: str, at_utc: str) -> bool:
        """Whether a value of an axis in a seating, left out or not, was touched before this time."""
        return bool(self._database.raw(KEPT_BEFORE, (fixture, axis, seating, at_utc)))

    def _kept(self, statement: str, *values: str | int) -> list[KeptWithPerson]:
        return list(map(_with_person, self._database.raw(statement, values)))

    def left_out_before(self, fixture: str, axis: str, seating: str, at_utc: str, setup: str) -> int:
        """How many values of an axis were left out in a seating before this setup of this time."""
        rows = self._database.raw(LEFT_OUT_BEFORE, (fixture, axis, seating, at_utc, setup))
        return int(rows[0][0])

    def left_out_values(self, fixture: str, axis: str) -> dict[str, int]:
        """How many values of an axis were left out of the usual, by seating."""
        return dict(self._database.raw(LEFT_OUT, (fixture, axis)))

    def counted_values(self, fixture: str, axis: str) -> list[tuple[str, str, int, str]]:
        """Seating, setup, value and time of an axis, without those left out, oldest first."""
        return self._database.raw(COUNTED_VALUES, (fixture, axis))

    def with_values_at(self, seating: str, people: Collection[str]) -> frozenset[str]:
        """Those of these people of whom a value counts in this seating."""
        rows = self._among(WITH_VALUES_AT, (json.dumps(list(people)), seating)) if people else []
        return frozenset(person for (person,) in rows)

    def changes_of_values(self, fixture: str, axis: str) -> int:
        """How often an axis' values have changed, those of this transaction among them."""
        statement = "SELECT coalesce(max(number), 0) FROM kept_change WHERE fixture = ? AND axis = ?"
        return int(self._database.raw(statement, (fixture, axis))[0][0])

    def changed_values(self, fixture: str, axis: str, after: int) -> list[tuple[str, str | None, int, str]]:
        """Setups whose value changed after so many changes:
        setup, seating, value and time of the value that counts now; the seating is None where none does.
        """
        return self._database.raw(CHANGED_VALUES, (fixture, axis, after, fixture, axis))

    def leave_out(self, setup: str, axis: str, reason: str | None) -> int:
        """Leave a value out of the usual, or take it back in (None); how many rows there were (0 or 1)."""
        here = (KeptValue.setup == setup) & (KeptValue.axis == axis)
        return self._run(KeptValue.update(left_out_reason=reason).where(here))

    def move_values(self, *, fixture: str, from_seating: str, to_seating: str, since_utc: str) -> int:
        """Count a fixture's values of one seating from a time on (inclusive) for another;
        how many there were.
        """
        here = (KeptValue.fixture == fixture) & (KeptValue.seating == from_seating)
        moved = KeptValue.update(seating=to_seating).where(here & (KeptValue.at_utc >= since_utc))
        return self._run(moved)


def _with_person(row: tuple[Any, ...]) -> KeptWithPerson:
    return cast("KeptWithPerson", dict(zip(KEPT_PARTS, row, strict=True)))
