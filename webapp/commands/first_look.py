"""What `zerokeep load --dry-run` says beside the changes: first lines and windows,
what counts for what the file leaves out of the floor under them, and measures to look at again.
"""

from __future__ import annotations

from collections.abc import Iterator

from webapp.domain.evidence.written_sheet import ApproachOnSheet
from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import as_judged, format_length
from webapp.domain.sheet.first_look import FirstLook, first_looks
from webapp.domain.shop.left_out import left_out_of_floor
from webapp.domain.shop.plausible import doubts
from webapp.domain.shop.shop import Machine
from webapp.domain.shop.told_shop import Shop
from webapp.words import say

DEAD_PROBE = "approach.note_dead_probe"


def lines(shop: Shop, text: str) -> list[str]:
    """The lines of text for a shop and its file:
    a machine's touches one after the other, what was left out, doubts.
    """
    return [
        "First lines and windows, once a vise has one value:",
        *_touches(shop),
        *_listed("The file leaves out, and this counts:", places_left_out(text)),
        *_listed("Look once more:", doubted_places(shop)),
    ]


def places_left_out(text: str) -> list[tuple[str, str]]:
    """Place and sentence of everything that the file leaves out of the floor."""
    return _said(left_out_of_floor(text))


def doubted_places(shop: Shop) -> list[tuple[str, str]]:
    """Place and sentence of every measure that can be and hardly is."""
    return _said(doubts(shop))


def _said(found: list[Finding]) -> list[tuple[str, str]]:
    return [(str(one.fields["place"]), say(one.code, one.fields)) for one in found]


def _listed(title: str, found: list[tuple[str, str]]) -> list[str]:
    return [title, *(f"  {place}: {words}" for place, words in found)] if found else []


def _touches(shop: Shop) -> Iterator[str]:
    for one in first_looks(shop):
        yield f"  {one.machine.name}, {one.fixture.name}, {one.axis}: {_lines_of(one)}"
        yield f"    {_window_of(one.approach, one.error, one.machine)}"
        yield f"    first setup: {_window_of(one.first, one.first_error, one.machine)}"


def _lines_of(one: FirstLook) -> str:
    display = one.machine.display
    ask, stop = (
        format_length(value or 0, display, sign=False) for value in (one.usual.ask_nm, one.usual.stop_nm)
    )
    return f"asks beyond ±{ask}, stops beyond ±{stop} {display.unit.value}"


def _window_of(plan: ApproachOnSheet | None, error: Finding | None, machine: Machine) -> str:
    if plan is None:
        return "no touch. " + (say(error.code, error.fields) if error else "")
    display, by_eye = machine.display, as_judged(machine.display)
    low, high = (format_length(nm, by_eye, sign=False) for nm in (plan["gap_low_nm"], plan["gap_high_nm"]))
    reach = format_length(plan["range_nm"], display, sign=False)
    said = f"gap {low} to {high}, range {reach} {display.unit.value}, first feed {plan['first_feed_text']}."
    notes = [say(one["code"], one["fields"]) for one in plan.get("notes", []) if one["code"] == DEAD_PROBE]
    return " ".join([said, *notes])
