"""The uncertainty budget of a machine with its probe and fixture:
read by lead and auditor, changed by the lead.

Rules: each line says what it is, how large, how it spreads, where that comes from, and its share; the result
says with which confidence it is stated, and beside it stands a Monte Carlo run with the seed that gives it
again. A refusal comes back into the form with all that was typed.
"""

from __future__ import annotations

import re

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.budget.lead_correlations import read_correlation
from webapp.domain.budget.lines import SHOP_LINES, THERMAL
from webapp.domain.budget.typed import read_confidence
from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.fitted_machine import Place
from webapp.services.numbers import budgeting
from webapp.services.numbers.budgeting import MachineBudget, Where
from webapp.web.desk.forms import DeskForm
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.numbers.budget_forms import NEW, correlation_form, line_form, line_title, read_form
from webapp.web.numbers.forms import Confidence, CorrelationForm, TakeBack
from webapp.web.show.budget_texts import axis_texts, line_texts, lines_with_shares, pair_texts, run_texts
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("budgets", __name__)

SEED = re.compile(r"[0-9]{1,9}")
FIRST_SEED = 1


@blueprint.get("/desk/machines/<machine>/budget")
def page(machine: str) -> Response:
    """Every line with its share, and the result."""
    return _page(machine, Confidence())


@blueprint.post("/desk/machines/<machine>/budget/confidence")
@once
def confidence(machine: str) -> Response:
    """State the result with another confidence."""
    form, parts, who = Confidence(), wiring(), sessions.signed_in()
    if form.validate():
        try:
            chosen = read_confidence(form.confidence.data)
            budgeting.set_confidence(parts.store, _at(machine), chosen, form.reason.data, who.id, parts.now())
        except DomainError as refusal:
            form.refuse("confidence", plain(refusal.code, refusal.fields))
        else:
            return _back(machine, "confidence")
    return _page(machine, form, 422)


@blueprint.post("/desk/machines/<machine>/budget/correlations")
@once
def correlate(machine: str) -> Response:
    """Say how two lines hang together, with the reason."""
    found, parts, who = _found(machine), wiring(), sessions.signed_in()
    form = correlation_form(found)
    if form.validate():
        try:
            word = read_correlation(
                one=form.one.data,
                other=form.other.data,
                axis=form.pair_axis.data,
                coefficient=form.coefficient.data,
            )
            budgeting.set_correlation(
                parts.store, _at(machine), word, form.pair_reason.data, who.id, parts.now()
            )
        except DomainError as refusal:
            form.refuse("coefficient", plain(refusal.code, refusal.fields))
        else:
            return _back(machine, "correlated")
    return _page(machine, Confidence(formdata=None), 422, form)


@blueprint.post("/desk/machines/<machine>/budget/correlations/take-back")
@once
def take_correlation_back(machine: str) -> Response:
    """Let two lines stand by themselves again, with the reason."""
    form, parts, who = TakeBack(), wiring(), sessions.signed_in()
    pair = request.form.get("one", ""), request.form.get("other", ""), request.form.get("axis") or None
    if form.validate():
        try:
            budgeting.take_correlation_back(
                parts.store, _at(machine), pair, form.reason.data, who.id, parts.now()
            )
        except DomainError as refusal:
            form.refuse("reason", plain(refusal.code, refusal.fields))
        else:
            return _back(machine, "apart")
    return _page(machine, Confidence(formdata=None), 422, back=form)


@blueprint.route("/desk/machines/<machine>/budget/lines/<line>", methods=["GET", "POST"])
@once
def line(machine: str, line: str) -> Response:
    """Change a line, or add one ("new"), with the reason."""
    found = _found(machine)
    form = line_form(found, line)
    if request.method == "POST" and form.validate():
        parts, who = wiring(), sessions.signed_in()
        try:
            budgeting.set_line(
                parts.store,
                _at(machine),
                read_form(form, line, found),
                form["reason"].data,
                who.id,
                parts.now(),
            )
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
        else:
            return _back(machine, "changed")
    status = 422 if request.method == "POST" else 200
    return _line_page(found, line, form, TakeBack(formdata=None), status)


@blueprint.post("/desk/machines/<machine>/budget/lines/<line>/take-back")
@once
def take_back(machine: str, line: str) -> Response:
    """Take the lead's line back, with the reason; what the shop file says counts again."""
    form, parts, who = TakeBack(), wiring(), sessions.signed_in()
    axis = request.form.get("axis") or None
    if form.validate():
        try:
            budgeting.take_back(parts.store, _at(machine), line, axis, form.reason.data, who.id, parts.now())
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
        else:
            return _back(machine, "taken_back")
    found = _found(machine)
    return _line_page(found, line, line_form(found, line, formdata=None), form, 422)


def _at(machine: str) -> Where:
    """The machine, with the fixture that the address names where it has several."""
    fixture = request.args.get("fixture", "")
    return Place(machine, fixture) if fixture else machine


def _found(machine: str) -> MachineBudget:
    parts = wiring()
    return budgeting.machine_budget(parts.store, _at(machine), parts.now())


def _page(
    machine: str,
    form: Confidence,
    status: int = 200,
    correlation: CorrelationForm | None = None,
    back: TakeBack | None = None,
) -> Response:
    found = _found(machine)
    unit, seed = found.machine.unit, _seed()
    if form.confidence.data is None:
        form.confidence.data = found.confidence
    axes = [
        {
            **axis_texts(one, unit),
            "rows": [line_texts(named, share, unit) for named, share in lines_with_shares(one)],
            "run": run_texts(budgeting.monte_carlo(one.result, one.axis, seed), one, unit),
        }
        for one in found.axes
    ]
    return make_response(
        render_template(
            "desk/budget.html",
            budget=found,
            of=_told_in_address(found),
            axes=axes,
            unit=unit,
            form=form,
            correlation=correlation or correlation_form(found, formdata=None),
            back=back or TakeBack(formdata=None),
            pairs=[pair_texts(word, found) for word in found.correlations],
            seed=seed,
            done=request.args.get("done"),
            names=names(),
        ),
        status,
    )


def _seed() -> int:
    """The seed of the Monte Carlo run: the first one, or the one asked for."""
    asked = request.args.get("seed", "")
    return int(asked) if SEED.fullmatch(asked) else FIRST_SEED


def _line_page(found: MachineBudget, line_id: str, form: DeskForm, back: TakeBack, status: int) -> Response:
    own = [one for one in found.changes if one.id == line_id]
    title = "A new line" if line_id == NEW else line_title(found, line_id)
    return make_response(
        render_template(
            "desk/budget_line.html",
            budget=found,
            of=_told_in_address(found),
            line=line_id,
            title=title,
            form=form,
            back=back,
            own=own,
            unit=found.machine.unit,
            is_shops=line_id in SHOP_LINES,
            is_thermal=line_id == THERMAL,
        ),
        status,
    )


def _back(machine: str, done: str) -> Response:
    fixture = request.args.get("fixture") or None
    return make_response(redirect(url_for("budgets.page", machine=machine, fixture=fixture, done=done), 303))


def _told_in_address(found: MachineBudget) -> str | None:
    """What an address says of the fixture: where there is one only, nothing."""
    return found.fixture.id if found.machine.more_fixtures else None
