"""Several values that moved together: one move of the fixture that nobody told of, put to the lead as one.

Rules of this module:
- The latest values, three to twenty of them, lie together where those before, three at least, do not reach:
  each beyond the ask line of the usual as it was before the first of them, all on one side, none farther from
  another than those two lines are apart. The first is the one after the largest step.
- A value that was not let into the usual because it lay beyond the ask line counts here:
  after a move they all do. One that the lead left out for another reason does not.
- The lines before are those of the seating as it stands; the lines after are those of a new seating that
  begins with the first of them, with all values that it then holds.
- It is a question. Only the lead begins a seating.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from webapp.domain.evidence.told import STAYED_OUT
from webapp.domain.figures.middle import middle
from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.usual.trend import SeatingRows, TrendRow, values_of
from webapp.domain.usual.usual import (
    LATEST,
    FloorInputs,
    LinesChoice,
    Usual,
    usual,
)

LEAST_TOGETHER = 3
LEAST_BEFORE = 3


@dataclass(frozen=True)
class Move:
    """A move that the values speak of: the setup that it lay before, its number in the seating, how many lie
    together, how far from those before; and the usual as it is, and as it were if a seating began there.
    """

    setup_id: str
    number: int
    count: int
    distance_nm: int
    before: Usual
    after: Usual


@dataclass(frozen=True)
class _Parts:
    floor: FloorInputs
    choice: LinesChoice
    display: Display


def moved_together(
    seatings: Sequence[SeatingRows], floor: FloorInputs, choice: LinesChoice, display: Display
) -> Move | None:
    """Return the move that the latest values of the last seating speak of,
    None where there is none to ask about.
    """
    parts = _Parts(floor, choice, display)
    rows = in_order(seatings[-1])
    counting = [row for row in rows if row.left_out_reason in {None, STAYED_OUT}]
    start = _largest_step(counting)
    if start is None:
        return None
    run = counting[start:]
    known = _usual([*seatings[:-1], _of(seatings[-1], _counted(counting[:start]))], parts)
    distance_nm = _apart(run, known)
    if distance_nm is None:
        return None
    first = run[0].setup_id
    return Move(
        setup_id=first,
        number=seatings[-1].first_number + [row.setup_id for row in rows].index(first),
        count=len(run),
        distance_nm=distance_nm,
        before=_usual(seatings, parts),
        after=_usual(begun_back(seatings, first), parts),
    )


def begun_back(seatings: Sequence[SeatingRows], setup_id: str) -> list[SeatingRows]:
    """Return the seatings as they were if another had begun with this setup of the last one."""
    now = seatings[-1]
    since_utc = next(row.at_utc for row in now.rows if row.setup_id == setup_id)
    before = tuple(row for row in now.rows if row.at_utc < since_utc)
    after = tuple(_let_in(row) for row in now.rows if row.at_utc >= since_utc)
    return [
        *seatings[:-1],
        _of(now, before),
        replace(_of(now, after), seating_id=f"{now.seating_id} begun back", stretch=None),
    ]


def in_order(seating: SeatingRows) -> list[TrendRow]:
    """Return a seating's rows in order of time, equal times in order of the setup."""
    return sorted(seating.rows, key=lambda row: (row.at_utc, row.setup_id))


def say_move(move: Move, display: Display) -> tuple[Finding, Finding]:
    """Return the question for the lead, and the reason that stands ready for the ledger."""
    fields: dict[str, str | int] = {
        "count": move.count,
        "number": move.number,
        "distance": format_length(move.distance_nm, display),
        "unit": display.unit.value,
    }
    return Finding("moved.together", fields), Finding("moved.reason", fields)


def _let_in(row: TrendRow) -> TrendRow:
    return replace(row, left_out_reason=None) if row.left_out_reason == STAYED_OUT else row


def _of(seating: SeatingRows, rows: Sequence[TrendRow]) -> SeatingRows:
    return replace(seating, rows=tuple(rows))


def _counted(rows: Sequence[TrendRow]) -> list[TrendRow]:
    return [row for row in rows if row.left_out_reason is None]


def _largest_step(rows: Sequence[TrendRow]) -> int | None:
    """Return the place after the largest step, where enough values lie on both sides of it."""
    places = range(max(LEAST_BEFORE, len(rows) - LATEST), len(rows) - LEAST_TOGETHER + 1)
    return max(places, key=lambda place: abs(rows[place].value_nm - rows[place - 1].value_nm), default=None)


def _apart(run: Sequence[TrendRow], known: Usual) -> int | None:
    """Return how far the values of a run lie from the usual before them,
    None where they are not apart together.
    """
    if known.centre_nm is None or known.ask_nm is None:
        return None
    away = [row.value_nm - known.centre_nm for row in run]
    if min(away) < -known.ask_nm and max(away) > known.ask_nm:
        return None
    if min(map(abs, away)) <= known.ask_nm or max(away) - min(away) > 2 * known.ask_nm:
        return None
    return round(middle(away[-LATEST:]))


def _usual(seatings: Sequence[SeatingRows], parts: _Parts) -> Usual:
    return usual(list(map(values_of, seatings)), parts.floor, parts.choice, parts.display)
