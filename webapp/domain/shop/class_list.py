"""A list of people to let in, as somebody types or pastes it: one person a line, a name and a short name.

Rules of this module:
- A line is "name" or "name, short name"; a semicolon or a tab parts them as well, and a name with a comma
  stands in quotation marks (RFC 4180). Empty lines and a first line of headings count for nothing.
- Without a short name one is made of the name's first word, in plain Latin letters as far as Unicode takes
  them apart (NFKD), and those that it does not as they are written without them; one that is taken gets a
  number. A name of which no letter is left needs one that is typed.
- All faults are found at once, each with its line. Names are the same whatever their case and accents: a
  second account of one person would part their slots and their setups.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from webapp.domain.evidence.events import SHORT_ID
from webapp.domain.plain.errors import Finding
from webapp.domain.plain.field_types import LONGEST_NAME
from webapp.domain.plain.folding import folded
from webapp.domain.plain.taken_words import NOBODYS

MOST = 60
LONGEST_MADE = 20
HEADINGS = {"name", "full name", "names"}


@dataclass(frozen=True)
class Invited:
    """One person to let in: the line of the list, the whole name, and the short name to sign in with."""

    line: int
    name: str
    id: str


@dataclass(frozen=True)
class ClassList:
    """The people of a list, and what is wrong with its lines; nobody is let in while anything is."""

    people: tuple[Invited, ...]
    faults: tuple[Finding, ...]


def read_class_list(text: str, known: Mapping[str, str]) -> ClassList:
    """Read a list; `known` are the names of all accounts by short name."""
    rows = list(_rows(text))
    if not rows:
        return ClassList((), (Finding("class_list.empty"),))
    if len(rows) > MOST:
        return ClassList((), (Finding("class_list.too_long", {"most": MOST, "lines": len(rows)}),))
    typed = {_plain(parts[1]) for _, parts in rows if len(parts) > 1}
    ids, names = {*known, *NOBODYS}, {folded(name): short for short, name in known.items()}
    people, faults = [], []
    for line, parts in rows:
        name = " ".join(parts[0].split())
        short = _plain(parts[1]) if len(parts) > 1 and parts[1].strip() else _made(name, ids | typed)
        fault = _fault(line, parts, name, short, ids, names)
        if fault:
            faults.append(fault)
            continue
        ids.add(short)
        names[folded(name)] = short
        people.append(Invited(line, name, short))
    return ClassList(tuple(people), tuple(faults))


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    first = True
    for line, typed in enumerate(text.splitlines(), start=1):
        if not typed.strip():
            continue
        parting = next((mark for mark in "\t;," if mark in typed), ",")
        parts = next(csv.reader([typed], delimiter=parting, skipinitialspace=True), [])
        if not (first and parts and parts[0].strip().lower() in HEADINGS):
            yield line, parts
        first = False


def _fault(
    line: int, parts: list[str], name: str, short: str, ids: set[str], names: Mapping[str, str]
) -> Finding | None:
    at = {"line": line}
    if len(parts) > 2 and any(part.strip() for part in parts[2:]):
        return Finding("class_list.too_many_parts", {**at, "part": parts[2].strip()[:40]})
    if not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
        return Finding("class_list.name", {**at, "name": name[:40], "longest": LONGEST_NAME})
    if not short:
        return Finding("class_list.short_name_needed", {**at, "name": name})
    if not SHORT_ID.passes(short):
        return Finding("class_list.short_name", {**at, "short": short[:40]})
    if short in ids:
        return Finding("class_list.short_name_taken", {**at, "short": short})
    if folded(name) in names:
        return Finding("class_list.known", {**at, "name": name, "short": names[folded(name)]})
    return None


def _plain(typed: str) -> str:
    return typed.strip().lower()


def _made(name: str, taken: set[str]) -> str:
    """A short name that nobody has, or nothing where no plain letter of the name is left."""
    first = folded(name).split(" ")[0]
    stem = re.sub(r"[^a-z]", "", first)[:LONGEST_MADE]
    if not stem:
        return ""
    tries = (stem if number == 1 else f"{stem}{number}" for number in range(1, MOST + len(taken) + 2))
    return next(one for one in tries if one not in taken)
