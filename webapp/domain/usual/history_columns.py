"""The columns of a table of past values, and what a cell may hold.

Rules of this module:
- A header names each column once, in any order; an axis has its unit in its name, and one unit only.
- The separator is the one of comma, semicolon and tab that the header holds most of.
- A formula is a cell that a spreadsheet would work out:
  = + - @, a tab or a carriage return in front of anything but a number (common practice, no source).
"""

from __future__ import annotations

import csv
import re
from functools import cache

from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.lengths import Display, Unit

TEXT_COLUMNS = ("at_utc", "machine", "fixture", "seating", "person", "setup")
MORE_COLUMNS = ("note", "left_out")
NEEDED = ("at_utc", "machine", "fixture", "seating")
AXES = ("X", "Y", "Z")
AXIS_COLUMN = re.compile(r"([xyz])_(mm|in)")
_FORMULA = re.compile(r"[=+\-@\t\r]")
_NUMBER = re.compile(r"[+\-]?[0-9]+([.,][0-9]*)?")


class HistoryCsvError(DomainError):
    """The table as a whole cannot be read."""


class HistoryEmptyError(HistoryCsvError):
    """There is no header."""

    code = "history.empty"


class HistoryColumnUnknownError(HistoryCsvError):
    """A column is none of ours, or its unit is."""

    code = "history.column_unknown"
    field_names = ("column",)


class HistoryColumnTwiceError(HistoryCsvError):
    """A column, or an axis in two units, stands there twice."""

    code = "history.column_twice"
    field_names = ("column",)


class HistoryColumnMissingError(HistoryCsvError):
    """A needed column is missing, or every axis is."""

    code = "history.column_missing"
    field_names = ("column",)


@cache
def axis_of(column: str) -> tuple[str, Display] | None:
    """Return the axis of a column and how its values are read, to the finest of the unit;
    None for a text column.
    """
    found = AXIS_COLUMN.fullmatch(column)
    if found is None:
        return None
    unit = Unit(found.group(2))
    return found.group(1).upper(), Display(unit, unit.most_decimals)


def separator_of(header: str) -> str:
    """Return the separator that the header uses."""
    return max(";\t,", key=header.count)


def columns_of(header: str) -> list[str]:
    """Return the columns' names in order. Raises a `HistoryCsvError`."""
    try:
        cells = next(iter(csv.reader([header], delimiter=separator_of(header))), [])
    except csv.Error:
        raise HistoryColumnUnknownError(column=header[:40]) from None
    columns = [name.strip().lower() for name in cells]
    if not any(columns):
        raise HistoryEmptyError
    kinds: list[str] = []
    for name in columns:
        axis = AXIS_COLUMN.fullmatch(name)
        if axis is None and name not in {*TEXT_COLUMNS, *MORE_COLUMNS}:
            raise HistoryColumnUnknownError(column=name[:40])
        kinds.append(axis.group(1) if axis else name)
    for place, kind in enumerate(kinds):
        if kind in kinds[:place]:
            raise HistoryColumnTwiceError(column=columns[place])
    missing = [name for name in NEEDED if name not in kinds]
    if missing or not set("xyz") & set(kinds):
        raise HistoryColumnMissingError(column=(missing or ["x_mm"])[0])
    return columns


def is_formula(cell: str) -> bool:
    """Tell whether a spreadsheet would work the cell out."""
    return bool(_FORMULA.match(cell)) and _NUMBER.fullmatch(cell) is None


def to_cell(text: str) -> str:
    """Return the text as a cell: a formula with an apostrophe in front, quotes as in RFC 4180."""
    safe = "'" + text if is_formula(text) else text
    return '"' + safe.replace('"', '""') + '"' if re.search(r'[",;\t\r\n]', safe) else safe


def from_cell(cell: str) -> str:
    """Return the text of a cell, without the apostrophe that `to_cell` put in front."""
    text = cell.strip()
    return text[1:] if text.startswith("'") and is_formula(text[1:]) else text
