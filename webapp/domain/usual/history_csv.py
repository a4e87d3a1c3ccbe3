"""Past values as a table of text (CSV): our own columns, in and out.

Rules of this module:

- Columns: `at_utc`, `machine`, `fixture`, `seating`, `person`, `setup`, and one for each axis with its unit
  in its name: `x_mm` or `x_in`, and so for y and z. A header names each column once, in any order; `person`
  and `setup` may be left out, and so may `note` and `left_out` ("X: a chip | Y: a burr": values that do not
  count, and why). Values are surfaces in machine coordinates, as the control shows them.
- A line is one past setup. It goes by its setup's name, or else by all that it says:
  the same twice is refused.
- Separators are commas, semicolons or tabs, as the header has them; quotes as in RFC 4180;
  a byte-order mark is dropped; decimals after a point or a comma. Text is UTF-8.
- Times as "2026-11-25" or "2026-11-25T08:03:12Z" with a zone; a bare day counts from its start.
  Nothing else of ISO 8601 is taken: a week's date is as long as a day of a month and would pass for one.
- A value lies on the grid of what the machine shows, or,
  in a column of the other unit, of what it would show in that.
- Read as a stream: a million lines take no more memory than a short fingerprint of each. Every line that is
  refused is reported with its number and the reason; the others are taken. Nothing is guessed: a value
  outside the travel that would fit in the other unit is refused with that hint.
- A cell that a spreadsheet would take for a formula (= + - @, tab, carriage return, in front of anything but
  a number) is refused on import and written with an apostrophe in front on export (common practice, no
  source).
"""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from uuid import UUID

from webapp.domain.plain.errors import Finding
from webapp.domain.plain.length_errors import LengthError
from webapp.domain.plain.lengths import Display, Unit, format_length, parse_length
from webapp.domain.usual.history_columns import (
    AXES,
    MORE_COLUMNS,
    TEXT_COLUMNS,
    axis_of,
    columns_of,
    from_cell,
    is_formula,
    separator_of,
    to_cell,
)

LONGEST_LINE = 4_000
LONGEST_NAMED = 80
REASONS_PARTED = "|"
_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(
    _DAY.pattern + r"[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}([.,][0-9]{1,6})?)?(Z|[+\-][0-9]{2}:?[0-9]{2})"
)


@dataclass(frozen=True)
class MachineLimits:
    """What a value is read against: travel of each axis in nanometres, and what the control shows.

    `fixtures` are those that are on the machine; empty takes any.
    Without `display` decimals are the finest of the unit.
    """

    travel_nm: Mapping[str, tuple[int, int]]
    fixtures: tuple[str, ...] = ()
    display: Display | None = None


@dataclass(frozen=True)
class HistoryRow:
    """One past setup: its values in nanometres by axis; an empty cell is an axis that was not touched."""

    line: int
    at_utc: str
    machine: str
    fixture: str
    seating: str
    person: str
    setup: str
    values_nm: Mapping[str, int]
    note: str = ""
    left_out: Mapping[str, str] = field(default_factory=dict)

    @property
    def names_a_setup(self) -> bool:
        """Tell whether the line names a setup by an id such as this program gives:
        perhaps one of this very store.
        """
        return _UUID.fullmatch(self.setup) is not None

    @property
    def past_id(self) -> str:
        """Return the id under which the past setup is kept:
        its own where it is a UUID, else one from what it says.

        A UUID of version 5 in form (RFC 9562, 5.5), from a SHA-256.
        """
        if self.names_a_setup:
            return self.setup
        values = [f"{axis}={value}" for axis, value in sorted(self.values_nm.items())]
        parts = (self.at_utc, self.machine, self.seating, self.person, *values)
        said = ("setup", self.fixture, self.setup) if self.setup else ("line", self.fixture, *parts)
        return str(UUID(bytes=sha256("\n".join(said).encode()).digest()[:16], version=5))


@dataclass(frozen=True)
class RefusedLine:
    """A line that is not taken, by its number from 1, and why."""

    line: int
    reason: Finding


@dataclass(frozen=True)
class Known:
    """What the shop has: machines with their limits, fixtures with their seatings' ids.
    Later times are refused.
    """

    machines: Mapping[str, MachineLimits]
    seatings: Mapping[str, frozenset[str]]
    latest_utc: str | None = None


@dataclass
class DryRun:
    """What an import would do: rows taken, lines refused, rows by fixture."""

    taken: int = 0
    refused: list[RefusedLine] = field(default_factory=list)
    by_fixture: dict[str, int] = field(default_factory=dict)


def decode_lines(chunks: Iterable[bytes]) -> Iterator[str]:
    """Yield lines from bytes as they come. What is no UTF-8 shows as U+FFFD, and its line is refused later.

    Of a line without an end no more is kept than it takes to refuse it.
    """
    decoder = codecs.getincrementaldecoder("utf-8-sig")(errors="replace")
    rest = ""
    for chunk in chunks:
        *whole, rest = (rest + decoder.decode(chunk)).split("\n")
        yield from whole
        rest = rest[: LONGEST_LINE + 1]
    rest += decoder.decode(b"", final=True)
    if rest:
        yield rest


def read_history(lines: Iterable[str], known: Known) -> Iterator[HistoryRow | RefusedLine]:
    """Yield each line's row or refusal, in order. Raises a `HistoryCsvError` for a header that cannot be.

    A cell holds no line end, so that one forgotten quote spoils one line only.
    """
    stream = iter(lines)
    header = next(stream, "").lstrip("\ufeff").rstrip("\r\n")
    columns, separator = columns_of(header), separator_of(header)
    seen: set[int] = set()
    for number, line in enumerate(stream, start=2):
        text = line.rstrip("\r\n")
        if text.strip(f" {separator}"):
            yield _line(number, text, separator, columns, known, seen)


def _line(
    number: int, text: str, separator: str, columns: Sequence[str], known: Known, seen: set[int]
) -> HistoryRow | RefusedLine:
    if len(text) > LONGEST_LINE:
        return RefusedLine(number, Finding("history.line_too_long", {"most": LONGEST_LINE}))
    try:
        cells = next(csv.reader([text], delimiter=separator, strict=True))
    except csv.Error:
        return RefusedLine(number, Finding("history.line_unreadable"))
    return _row(number, cells, columns, known, seen)


def dry_run(lines: Iterable[str], known: Known) -> DryRun:
    """Return what importing would do, without doing it."""
    found = DryRun()
    for item in read_history(lines, known):
        if isinstance(item, RefusedLine):
            found.refused.append(item)
        else:
            found.taken += 1
            found.by_fixture[item.fixture] = found.by_fixture.get(item.fixture, 0) + 1
    return found


def _row(
    line: int, cells: Sequence[str], columns: Sequence[str], known: Known, seen: set[int]
) -> HistoryRow | RefusedLine:
    if len(cells) != len(columns):
        return RefusedLine(line, Finding("history.cells", {"found": len(cells), "expected": len(columns)}))
    raw = dict(zip(columns, cells, strict=True))
    row = {name: from_cell(cell) for name, cell in raw.items()}
    reason = _refusal(raw, row, known)
    if reason is not None:
        return RefusedLine(line, reason)
    at_utc = _at_utc(row["at_utc"])
    values = _values(row, known.machines[row["machine"]])
    if isinstance(values, Finding) or at_utc is None:
        return RefusedLine(line, values if isinstance(values, Finding) else _time(row["at_utc"]))
    if known.latest_utc is not None and at_utc > known.latest_utc:
        return RefusedLine(line, Finding("history.time_ahead", {"text": row["at_utc"][:40]}))
    left_out = _left_out(row.get("left_out", ""), values)
    if isinstance(left_out, Finding):
        return RefusedLine(line, left_out)
    made = HistoryRow(
        line,
        at_utc,
        row["machine"],
        row["fixture"],
        row["seating"],
        row.get("person", ""),
        row.get("setup", ""),
        values,
        row.get("note", ""),
        left_out,
    )
    own_id = int(made.past_id.replace("-", "")[:14], 16)
    if own_id in seen:
        twice = (
            Finding("history.setup_twice", {"setup": made.setup})
            if made.setup
            else Finding("history.line_twice")
        )
        return RefusedLine(line, twice)
    seen.add(own_id)
    return made


def _left_out(cell: str, values: Mapping[str, int]) -> dict[str, str] | Finding:
    """Return the reasons by axis in a cell such as "X: a chip | Y: a burr"."""
    reasons: dict[str, str] = {}
    for part in filter(None, (part.strip() for part in cell.split(REASONS_PARTED))):
        axis, colon, reason = part.partition(":")
        if not colon or axis.strip() not in values or not reason.strip():
            return Finding("history.left_out_unreadable", {"text": cell[:40]})
        reasons[axis.strip()] = reason.strip()
    return reasons


def _refusal(raw: Mapping[str, str], row: Mapping[str, str], known: Known) -> Finding | None:
    """Return why the text cells cannot be taken, None when they can."""
    for name, cell in raw.items():
        if "\ufffd" in cell or not cell.isprintable():
            return Finding("history.not_text", {"column": name})
        # A value that is no number is told what is wrong with it; only what starts like a formula is one.
        if is_formula(cell.strip()) and (axis_of(name) is None or cell.strip()[0] in "=@"):
            return Finding("history.formula", {"column": name, "cell": cell[:40]})
    if row["machine"] not in known.machines:
        return Finding("history.machine_unknown", {"machine": row["machine"]})
    if row["fixture"] not in known.seatings:
        return Finding("history.fixture_unknown", {"fixture": row["fixture"]})
    if row["seating"] not in known.seatings[row["fixture"]]:
        return Finding("history.seating_unknown", {"seating": row["seating"], "fixture": row["fixture"]})
    fixtures = known.machines[row["machine"]].fixtures
    if fixtures and row["fixture"] not in fixtures:
        fields = {"fixture": row["fixture"], "machine": row["machine"], "own": ", ".join(fixtures)}
        return Finding("history.fixture_elsewhere", {**fields})
    if len(row.get("setup", "")) > LONGEST_NAMED or len(row.get("person", "")) > LONGEST_NAMED:
        return Finding("history.name_too_long", {"most": LONGEST_NAMED})
    return None


def _time(text: str) -> Finding:
    return Finding("history.time_unreadable", {"text": text[:40]})


def _at_utc(text: str) -> str | None:
    is_day = _DAY.fullmatch(text) is not None
    if not is_day and _TIME.fullmatch(text) is None:
        return None
    try:
        at = datetime.fromisoformat(text)
        # The first and the last day of the calendar have no other time in UTC.
        at = at.replace(tzinfo=UTC) if is_day else at.astimezone(UTC)
    except (ValueError, OverflowError):
        return None
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _values(row: Mapping[str, str], machine: MachineLimits) -> dict[str, int] | Finding:
    values: dict[str, int] = {}
    for name, cell in row.items():
        axis = axis_of(name)
        if axis is None or cell == "":
            continue
        letter, display = axis
        try:
            values[letter] = parse_length(cell, display, *machine.travel_nm[letter])
        except LengthError as refused:
            return refused.finding()
        if machine.display is not None and _is_off_grid(values[letter], display.unit, machine.display):
            shown = machine.display if display.unit is machine.display.unit else machine.display.other
            fields: dict[str, str | int] = {"column": name, "text": cell[:40], "unit": shown.unit.value}
            return Finding("history.off_grid", fields | {"decimals": shown.decimals})
    return values or Finding("history.no_value")


def _is_off_grid(value_nm: int, unit: Unit, shown: Display) -> bool:
    """Tell whether no control with this display shows the value, in its own unit or in the column's."""
    in_other = unit is not shown.unit and value_nm % shown.other.resolution_nm == 0
    return value_nm % shown.resolution_nm != 0 and not in_other


def write_history(rows: Iterable[HistoryRow], display: Display) -> Iterator[str]:
    """Yield the lines of the table, header first, in the display's unit;
    every value that is on its grid is exact.

    A value off the grid is written with the decimals that its unit allows,
    so that reading it back gives it again.
    """
    unit = display.unit
    units = [f"{axis.lower()}_{unit.value}" for axis in AXES]
    yield ",".join([*TEXT_COLUMNS, *units, *MORE_COLUMNS]) + "\r\n"
    finest = Display(unit, unit.most_decimals)
    for row in rows:
        texts = [row.at_utc, row.machine, row.fixture, row.seating, row.person, row.setup]
        values = [_number(row.values_nm.get(axis), display, finest) for axis in AXES]
        reasons = [
            f"{axis}: {said.replace(REASONS_PARTED, '/')}" for axis, said in sorted(row.left_out.items())
        ]
        more = [row.note, f" {REASONS_PARTED} ".join(reasons)]
        yield ",".join([*map(to_cell, texts), *values, *map(to_cell, more)]) + "\r\n"


def _number(value_nm: int | None, display: Display, finest: Display) -> str:
    if value_nm is None:
        return ""
    exact = display if value_nm % display.resolution_nm == 0 else finest
    return format_length(value_nm, exact, sign=False).replace("−", "-")
