"""When a difference matters: what a choice of lines gives on one axis, others beside it, and saving one.

Rules: a choice that is looked at stands in the address, so that it can be sent to somebody and needs no
script; it is saved by a form of its own, with a reason. What cannot be a choice is refused beside the field,
with what to type.
"""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.charts.choice_chart import Curve
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.usual.choice import FIELDS, Reading, as_typed, read_choice
from webapp.domain.usual.limits import factor_in_words, in_words
from webapp.services.numbers import choosing, trending
from webapp.services.numbers.choosing import Matters
from webapp.web.desk import forms
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.numbers.fixtures import AXIS, sentences
from webapp.web.show import charting, shown_values
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("choosing", __name__)


@blueprint.get(f"/desk/fixtures/<fixture>/{AXIS}/matters")
def matters(fixture: str, axis: str) -> Response:
    """What the lines of one axis ask and catch: as they hold, or as the address says they might."""
    typed = {name: request.args[name] for name in FIELDS if name in request.args}
    return _page(fixture, axis, typed, None, 200)


@blueprint.post(f"/desk/fixtures/<fixture>/{AXIS}/matters")
@once
def choose(fixture: str, axis: str) -> Response:
    """Save the choice that was looked at, with the reason."""
    form, parts, who = forms.SaveChoice(), wiring(), sessions.signed_in()
    typed = {name: request.form.get(name, "") for name in FIELDS}
    held = trending.parts_of(parts.store, fixture, axis)
    reading = read_choice(typed, held.machine.display, held.choice)
    if form.validate() and reading.choice is not None:
        try:
            reason = form.reason.data or ""
            choosing.choose(parts.store, fixture, axis, reading.choice, reason, who.id, parts.now())
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
        else:
            return make_response(
                redirect(url_for("choosing.matters", fixture=fixture, axis=axis, done="saved"), 303)
            )
    return _page(fixture, axis, typed, form, 422)


def _page(
    fixture: str, axis: str, typed: dict[str, str], form: forms.SaveChoice | None, status: int
) -> Response:
    parts = trending.parts_of(wiring().store, fixture, axis)
    display = parts.machine.display
    whole = {**as_typed(parts.choice, display), **typed}
    reading = read_choice(whole, display, parts.choice)
    found = choosing.matters(wiring().store, fixture, axis, reading.choice)
    lines = forms.Lines(formdata=None, data=whole)
    for name, refusal in reading.refused.items():
        lines.refuse(name, plain(refusal.code, refusal.fields))
    body = render_template(
        "desk/matters.html",
        found=found,
        parts=parts,
        fixture=parts.fixture,
        axis=axis,
        lengths=shown_values.Lengths(display),
        lines=lines,
        typed=whole,
        reading=reading,
        form=form or forms.SaveChoice(formdata=None),
        shops=as_typed(found.shops, display),
        names=names(),
        **_curve(found, axis, whole, display, reading),
    )
    return make_response(body, status)


def _curve(
    found: Matters, axis: str, typed: dict[str, str], display: Display, reading: Reading
) -> dict[str, Any]:
    """The words and the curve; neither where there is no value to draw a line around."""
    shown, now = found.shown, found.now
    if shown.line is None or now.line is None or shown.usual.stop_nm is None:
        return {"words_first": [], "described": [], "charts": ()}

    def href(one_in: int) -> str:
        stop = typed["stop"] if reading.choice and reading.choice.stop_one_in > one_in else str(10 * one_in)
        rest: dict[str, Any] = {
            "stop": stop,
            **{name: typed[name] for name in ("stop_length", "ceiling", "factor")},
        }
        return url_for("choosing.matters", fixture=found.parts.fixture.id, axis=axis, ask=one_in, **rest)

    described = sentences((_described(found, display),))
    return {
        "words_first": sentences(
            (
                *in_words(shown.usual, shown.line, display),
                *shown.doubts,
                *factor_in_words(shown.usual, shown.choice, display),
            )
        ),
        "described": described,
        "charts": charting.choice(
            Curve(found.curve, now.line, shown.line, shown.usual.stop_nm), axis, described[0], display, href
        ),
    }


def _described(found: Matters, display: Display) -> Finding:
    first, last = found.curve[0], found.curve[-1]

    def length(value_nm: float) -> str:
        return format_length(round(value_nm), display, sign=False)

    return Finding(
        "trend.described_curve",
        {
            "first": first.one_in,
            "last": last.one_in,
            "ask_first": length(first.ask_nm),
            "ask_last": length(last.ask_nm),
            "caught_first": length(first.caught_nm),
            "caught_last": length(last.caught_nm),
            "unit": display.unit.value,
        },
    )
