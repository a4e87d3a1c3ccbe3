"""`zerokeep import FILE.csv` and `zerokeep export FILE.csv`:
past values from a table, and all kept values as one.

A table of any size is read as a stream, twice: once to look, once to take in. Columns stand in `--help`.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

from webapp.clocks import utc_now
from webapp.commands.opening import opened
from webapp.domain.plain.errors import DomainError
from webapp.domain.usual.history_csv import RefusedLine
from webapp.services.errors import NothingToImport
from webapp.services.evidence import looked_at
from webapp.services.evidence.ledger import SERVER
from webapp.services.numbers import past_values, written_out
from webapp.services.numbers.past_values import AllTheSame, AskedLine, Looked
from webapp.settings import Settings
from webapp.words import say

DONE, REFUSED, NO_FILE = 0, 1, 2
CHUNK = 1 << 20
REFUSED_LINE = "refused"


def take_in(
    settings: Settings, path: Path, *, dry_run: bool, as_json: bool, all_the_same: AllTheSame = ()
) -> int:
    """Take a table in, or with `dry_run` only say what would be taken. Every line that is refused or asked
    about is told with its reason; of the asked ones those in `all_the_same` are taken.
    """
    if not path.is_file():
        print(f"Cannot read {path}: there is no such file. Give the path of a table.", file=sys.stderr)
        return NO_FILE
    told: list[dict[str, object]] = []

    def tell(line: RefusedLine | AskedLine) -> None:
        for entry in _entries(line):
            if as_json:
                told.append(entry)
            else:
                print(f"  line {entry['line']}: {entry['is']}. {entry['detail']}", file=sys.stderr)

    def source() -> Iterator[bytes]:
        with path.open("rb") as file:
            while chunk := file.read(CHUNK):
                yield chunk

    with opened(settings) as (store, _):
        try:
            if dry_run:
                looked = past_values.look(store, source, utc_now(), tell, all_the_same=all_the_same)
            else:
                looked = past_values.take_in(
                    store, source, path.name, SERVER, utc_now(), tell, all_the_same=all_the_same
                )
        except NothingToImport as error:
            return _nothing(path, error, told, as_json=as_json)
    _say(path, looked, told, dry_run=dry_run, as_json=as_json)
    return DONE if looked.setups else REFUSED


def _entries(line: RefusedLine | AskedLine) -> list[dict[str, object]]:
    """What is said of a line: each reason with what becomes of it."""
    becomes, reasons = REFUSED_LINE, (line.reason,) if isinstance(line, RefusedLine) else line.reasons
    if isinstance(line, AskedLine):
        becomes = "asked about, taken all the same" if line.taken else "asked about, not taken"
    return [
        {"line": line.line, "is": becomes, "code": one.code, "detail": say(one.code, one.fields)}
        for one in reasons
    ]


def _split(told: list[dict[str, object]]) -> dict[str, object]:
    """The refused and the asked lines, each in the table's order:
    some are known only once it was read whole.
    """
    in_order = sorted(told, key=lambda one: int(str(one["line"])))
    return {
        "refused": [one for one in in_order if one["is"] == REFUSED_LINE],
        "asked": [one for one in in_order if one["is"] != REFUSED_LINE],
    }


def _nothing(path: Path, error: DomainError, told: list[dict[str, object]], *, as_json: bool) -> int:
    words = say(error.code, error.fields)
    if as_json:
        print(
            json.dumps({"file": str(path), "setups": 0, **_split(told), "detail": words}, ensure_ascii=False)
        )
    else:
        print(words, file=sys.stderr)
    return REFUSED


def _say(path: Path, looked: Looked, told: list[dict[str, object]], *, dry_run: bool, as_json: bool) -> None:
    if as_json:
        found = {
            "file": str(path), "dry_run": dry_run, "sha256": looked.sha256, "setups": looked.setups,
            "values": looked.values, "by_fixture": looked.by_fixture,
            "outside_seating": looked.outside_seating,
            "taken_all_the_same": looked.asked_taken, **_split(told),
        }  # fmt: skip
        print(json.dumps(found, ensure_ascii=False, indent=1))
        return
    verb = "Would take in" if dry_run else "Taken in"
    print(f"{verb}: {looked.setups} setups, {looked.values} values. Refused lines: {looked.refused}.")
    for fixture, count in sorted(looked.by_fixture.items()):
        print(f"  {fixture:<24} {count} values")
    if looked.asked:
        print(
            f"Lines asked about: {looked.asked}, of these taken: {looked.asked_taken}. "
            "Look at each; take one with --all-the-same LINE, or every one with --all-the-same every."
        )
    if looked.outside_seating:
        print(
            f"{looked.outside_seating} setups lie outside the time of their seating: look whether it is the "
            "right one."
        )


def export(settings: Settings, path: Path, fixture: str | None) -> int:
    """Write all kept values, or those of one fixture, into a table."""
    count = -1
    with opened(settings) as (store, _):
        try:
            with path.open("w", encoding="utf-8", newline="") as file:
                about = fixture or "every fixture"
                looked_at.downloaded(store, looked_at.VALUES, SERVER, about, {"fixture": fixture}, utc_now())
                for count, line in enumerate(written_out.export(store, fixture)):  # noqa: B007
                    file.write(line)
        except OSError as error:
            print(f"Cannot write {path}: {error.strerror}. Give a path that can be written.", file=sys.stderr)
            return NO_FILE
    print(f"{path}: {count} setups.")
    return DONE
