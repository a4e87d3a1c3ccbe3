"""How each fixture behaves: all at a glance, one axis value by value,
a new seating, a value left out or taken back.

Rules: lead and auditor read; only the lead changes anything, each time with a reason that goes onto the
ledger. Filters stand in the address. Everything a chart shows stands in words and in a table as well.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.usual.moved import say_move
from webapp.domain.usual.trend import described
from webapp.services.errors import DayNotBegun, DayOutsideCalendar, SeatingNotNewest
from webapp.services.numbers import seatings, trending
from webapp.services.numbers.long_axis import STRETCH
from webapp.services.numbers.trending import EVERY_SEATING, AxisTrend
from webapp.web.desk import forms
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show import charting, shown_values
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("fixtures", __name__)

AXIS = "<any(X, Y, Z):axis>"


@blueprint.get("/desk/fixtures")
def overview() -> str:
    """All fixtures in use, and for each axis where it lies,
    how it scatters, whether something is to be looked at.
    """
    found = [
        {**one, "lengths": shown_values.Lengths(one["display"])} for one in trending.overview(wiring().store)
    ]
    return render_template("desk/fixtures.html", fixtures=found)


@blueprint.get(f"/desk/fixtures/<fixture>/{AXIS}")
def trends(fixture: str, axis: str) -> str:
    """The values of the seating asked for, a stretch at a time, as charts, in words and in a table."""
    found = trending.trend(wiring().store, fixture, axis, request.args.get("seating") or None, _start())
    display = found.parts.machine.display
    shown = [one.shown for one in found.trends]
    words = sentences(described(shown[-1], display)) if shown else []

    @cache
    def href(setup: str) -> str:
        return url_for("desk.setup", setup_id=setup)

    points = [(one, point) for one in reversed(shown) for point in reversed(one.points)]
    start, count = found.start, sum(one.count for one in shown)
    return render_template(
        "desk/trends.html",
        **about(found),
        words_of_chart=words,
        offer=sentences(say_move(found.move, display)) if found.move else (),
        charts=charting.trend(shown, axis, " ".join(words), display, href),
        points=points,
        count=count,
        start=start,
        older=start + STRETCH if len(shown) == 1 and start + STRETCH < count else None,
        newer=max(0, start - STRETCH) if start else None,
        every=EVERY_SEATING,
        names=names(),
    )


def about(found: AxisTrend) -> dict[str, Any]:
    """What all pages about one axis show at their head."""
    return {
        "found": found,
        "parts": found.parts,
        "fixture": found.parts.fixture,
        "axis": found.parts.face.axis,
        "lengths": shown_values.Lengths(found.parts.machine.display),
    }


def sentences(findings: tuple[Finding, ...]) -> list[str]:
    """The words of findings."""
    return [plain(one.code, one.fields) for one in findings]


def _start() -> int:
    text = request.args.get("start", "0")
    return int(text) if re.fullmatch(r"[0-9]{1,7}", text) else 0


@blueprint.route("/desk/fixtures/<fixture>/seating", methods=["GET", "POST"])
@once
def seating(fixture: str) -> Response:
    """Say that a fixture was moved: what that does, and the form with the reason."""
    form, parts, who = forms.StartSeating(), wiring(), sessions.signed_in()
    name = trending.fixture_name(parts.store, fixture)
    if request.method == "POST" and form.validate():
        now = parts.now()
        try:
            new = seatings.seating_id(fixture, now, parts.new_token())
            seatings.start_seating(
                parts.store, fixture, new, form.reason.data or "", who.id, now, form.since.data
            )
        except DomainError as refusal:
            about_day = isinstance(refusal, DayNotBegun | DayOutsideCalendar | SeatingNotNewest)
            form.refuse("since" if about_day else "reason", plain(refusal.code, refusal.fields))
        else:
            return _see_other(url_for("fixtures.overview", done="seated"))
    found = [one for one in trending.overview(parts.store) if one["fixture"] == fixture]
    return _page("desk/seating.html", form, fixture=fixture, name=name, found=found)


@blueprint.route(f"/desk/fixtures/<fixture>/{AXIS}/values/<setup>", methods=["GET", "POST"])
@once
def value(fixture: str, axis: str, setup: str) -> Response:
    """One value of the usual: leave it out, or take it back, with a reason;
    what the usual is with it and without.
    """
    form, parts, who = forms.ValueReason(), wiring(), sessions.signed_in()
    if request.method == "POST" and form.validate():
        change = seatings.leave_out if form.do.data == "leave_out" else seatings.take_in
        try:
            change(parts.store, setup, axis, form.reason.data or "", who.id, parts.now())
        except DomainError as refusal:
            form.refuse("reason", plain(refusal.code, refusal.fields))
        else:
            return _see_other(url_for("fixtures.trends", fixture=fixture, axis=axis, done=form.do.data))
    both = trending.with_and_without(parts.store, fixture, axis, setup)
    return _page(
        "desk/value.html",
        form,
        both=both,
        fixture=both.parts.fixture,
        axis=axis,
        lengths=shown_values.Lengths(both.parts.machine.display),
        names=names(),
    )


@blueprint.route(f"/desk/fixtures/<fixture>/{AXIS}/back/<setup>", methods=["GET", "POST"])
@once
def back(fixture: str, axis: str, setup: str) -> Response:
    """Begin a new seating back at a past setup: what it does to the lines, and the form with the reason."""
    form, parts, who = forms.StartSeating(), wiring(), sessions.signed_in()
    if request.method == "POST" and form.validate():
        now = parts.now()
        try:
            new = seatings.seating_id(fixture, now, parts.new_token())
            reason = form.reason.data or ""
            seatings.begin_seating_back(parts.store, fixture, setup, new, reason, who.id, now)
        except DomainError as refusal:
            form.refuse("reason", plain(refusal.code, refusal.fields))
        else:
            return _see_other(url_for("fixtures.trends", fixture=fixture, axis=axis, done="begun_back"))
    found = trending.begun_with(parts.store, fixture, axis, setup)
    return _page(
        "desk/back.html",
        form,
        found=found,
        fixture=found.parts.fixture,
        axis=axis,
        lengths=shown_values.Lengths(found.parts.machine.display),
        names=names(),
    )


def _page(template: str, form: forms.DeskForm, **more: Any) -> Response:
    status = 422 if request.method == "POST" else 200
    return make_response(render_template(template, form=form, **more), status)


def _see_other(address: str) -> Response:
    return make_response(redirect(address, 303))
