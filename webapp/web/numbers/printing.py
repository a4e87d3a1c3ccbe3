"""A fixture's trends on paper: every axis with its chart, its words and its newest values, as one PDF.

Rules: what is printed is what the trends page shows at that moment; it is no record, carries no seal and says
so. That it leaves stands on the ledger before it does. The press prints it, a process that can fetch nothing;
the chart is text that our own code wrote with an XML library.
"""

from __future__ import annotations

import json
from datetime import datetime
from hashlib import sha256
from typing import Any

from flask import Blueprint, Response, make_response, request

from webapp.domain.usual.trend import described
from webapp.services.errors import NoSuchFixture
from webapp.services.evidence.looked_at import TRENDS
from webapp.services.numbers import trending
from webapp.services.numbers.trending import EVERY_SEATING, AxisTrend
from webapp.services.times import utc_text
from webapp.web.edge import denials, sessions, shop_zone
from webapp.web.edge.wiring import wiring
from webapp.web.numbers.fixtures import sentences
from webapp.web.show import charting, rendering, shown_values
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("printing", __name__)

AXES = ("X", "Y", "Z")
NEWEST = 24


@blueprint.get("/desk/fixtures/<fixture>/trends.pdf")
def trends(fixture: str) -> Response:
    """The trends of every axis of a fixture, one axis after the other, of the seating asked for."""
    parts = wiring()
    seating = request.args.get("seating") or None
    found = [one for axis in AXES if (one := _axis(fixture, axis, seating)) is not None]
    if not found:
        raise NoSuchFixture(fixture=fixture[:80])
    paper = _paper(found, parts.now())
    with rendering.one_at_a_time():
        pdf = parts.print_trends(paper)
    _note(found[0].parts.fixture.id, seating, paper)
    answer = make_response(pdf)
    answer.content_type = "application/pdf"
    answer.headers["Content-Disposition"] = f'inline; filename="trends-{found[0].parts.fixture.id}.pdf"'
    return answer


def _note(fixture: str, seating: str | None, paper: dict[str, Any]) -> None:
    """Put onto the ledger that this person takes a copy. The time of printing tells no two copies apart."""
    shown = {name: value for name, value in paper.items() if not name.startswith("made")}
    digest = sha256(json.dumps(shown, sort_keys=True).encode()).hexdigest()
    if request.method == "GET":
        data = {"seating": seating}
        denials.note_copy(sessions.signed_in(), TRENDS, fixture, digest, data, of="shown_sha256")


def _axis(fixture: str, axis: str, seating: str | None) -> AxisTrend | None:
    """The trend of one axis, None where the fixture has no face on it."""
    try:
        return trending.trend(wiring().store, fixture, axis, seating)
    except NoSuchFixture:
        return None


def _paper(found: list[AxisTrend], now: datetime) -> dict[str, Any]:
    """All that the pages say, as plain data."""
    parts, made = found[0].parts, utc_text(now)
    return {
        "shop": parts.rules.name,
        "fixture": parts.fixture.name,
        "machine": parts.machine.name,
        "made": shop_zone.both(made),
        "made_at_utc": made,
        "every": found[0].chosen == EVERY_SEATING,
        "axes": [_axis_on_paper(one) for one in found],
    }


def _axis_on_paper(found: AxisTrend) -> dict[str, Any]:
    now, axis, display = found.now.shown, found.parts.face.axis, found.parts.machine.display
    lengths, words = shown_values.Lengths(display), sentences(described(now, display))
    return {
        "axis": axis,
        "face": shown_values.FACES[found.parts.face.face],
        "unit": lengths.unit,
        "since": shop_zone.both(now.since_utc),
        "plates": [
            ["usual", lengths.signed(now.usual.centre_nm), f"{now.usual.n_values} values"],
            ["ask line", lengths.line(now.usual.ask_nm), f"one false ask in {found.parts.choice.ask_one_in}"],
            [
                "stop line",
                lengths.line(now.usual.stop_nm),
                f"one false stop in {found.parts.choice.stop_one_in}",
            ],
        ],
        "words": words,
        "signals": sentences(now.signals) or [plain("drift.none", {})] if now.chart else [],
        "notes": sentences(now.notes),
        "chart": charting.on_paper([one.shown for one in found.trends], axis, " ".join(words), display),
        "rows": _rows(found, lengths),
        "count": now.count,
    }


def _rows(found: AxisTrend, lengths: shown_values.Lengths) -> list[list[str]]:
    """The newest values of the latest seating:
    setup, time, by whom, value, from the usual, what is to be said.
    """
    people, centre = names(), found.now.usual.centre_nm
    return [
        [
            str(point.number),
            shop_zone.minute(point.row.at_utc),
            str(people.get(point.row.person or "", point.row.person or "–")),
            lengths.signed(point.row.value_nm),
            "–" if centre is None else lengths.signed(point.row.value_nm - centre),
            _mark(point),
        ]
        for point in reversed(found.now.points[-NEWEST:])
    ]


def _mark(point: Any) -> str:
    if point.row.left_out_reason is not None:
        return f"left out: {point.row.left_out_reason}"
    return "in a signal" if point.signals else "suspect" if point.is_suspect else ""
