"""The uncertainty budget of a machine with its probe and fixture:
read by lead and auditor, changed by the lead.

Rules: each line says what it is, how large, how it spreads, where that comes from, and its share; the result
says with which confidence it is stated, and beside it stands a Monte Carlo run with the seed that gives it
again. A refusal comes back into the form with all that was typed.
"""

from __future__ import annotations

import re
from hashlib import sha256
from typing import Any

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for
from werkzeug.exceptions import NotFound
from wtforms.fields.choices import SelectChoice

from webapp.domain.budget.lead_correlations import LeadCorrelation, read_correlation
from webapp.domain.budget.lines import CHANGEABLE, SHOP_LINES, THERMAL, LeadLine, NamedLine
from webapp.domain.budget.typed import fine_display, read_confidence, read_line, read_thermal
from webapp.domain.budget.uncertainty import Distribution
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.lengths import Display, Unit, format_length
from webapp.services.numbers import budgeting
from webapp.services.numbers.budgeting import AxisBudget, MachineBudget
from webapp.web.desk.forms import DeskForm
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.numbers.forms import BudgetLineForm, Confidence, CorrelationForm, TakeBack, ThermalForm
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("budgets", __name__)

LINE_ID = re.compile(r"[a-z0-9-]{1,40}")
NEW = "new"
SEED = re.compile(r"[0-9]{1,9}")
FIRST_SEED = 1


@blueprint.get("/desk/machines/<machine>/budget")
def page(machine: str) -> Response:
    """Every line with its share, and the result."""
    return _page(machine, Confidence())


@blueprint.post("/desk/machines/<machine>/budget/confidence")
def confidence(machine: str) -> Response:
    """State the result with another confidence."""
    form, parts, who = Confidence(), wiring(), sessions.signed_in()
    if form.validate():
        try:
            chosen = read_confidence(form.confidence.data)
            budgeting.set_confidence(parts.store, machine, chosen, form.reason.data, who.id, parts.now())
        except DomainError as refusal:
            form.refuse("confidence", plain(refusal.code, refusal.fields))
        else:
            return _back(machine, "confidence")
    return _page(machine, form, 422)


@blueprint.post("/desk/machines/<machine>/budget/correlations")
def correlate(machine: str) -> Response:
    """Say how two lines hang together, with the reason."""
    found, parts, who = _found(machine), wiring(), sessions.signed_in()
    form = _correlation_form(found)
    if form.validate():
        try:
            word = read_correlation(
                one=form.one.data,
                other=form.other.data,
                axis=form.pair_axis.data,
                coefficient=form.coefficient.data,
            )
            budgeting.set_correlation(parts.store, machine, word, form.pair_reason.data, who.id, parts.now())
        except DomainError as refusal:
            form.refuse("coefficient", plain(refusal.code, refusal.fields))
        else:
            return _back(machine, "correlated")
    return _page(machine, Confidence(formdata=None), 422, form)


@blueprint.post("/desk/machines/<machine>/budget/correlations/take-back")
def take_correlation_back(machine: str) -> Response:
    """Let two lines stand by themselves again, with the reason."""
    form, parts, who = TakeBack(), wiring(), sessions.signed_in()
    pair = request.form.get("one", ""), request.form.get("other", ""), request.form.get("axis") or None
    if form.validate():
        try:
            budgeting.take_correlation_back(parts.store, machine, pair, form.reason.data, who.id, parts.now())
        except DomainError as refusal:
            form.refuse("reason", plain(refusal.code, refusal.fields))
        else:
            return _back(machine, "apart")
    return _page(machine, Confidence(formdata=None), 422, back=form)


def _correlation_form(found: MachineBudget, **more: Any) -> CorrelationForm:
    form = CorrelationForm(**more)
    names = {named.id: _line_name(named) for axis in found.axes for named in axis.lines}
    form.one.choices = form.other.choices = [SelectChoice(one, name) for one, name in names.items()]
    if form.other.data is None and len(names) > 1:
        form.other.data = list(names)[1]
    form.pair_axis.choices = [
        SelectChoice("", "every axis"), *[SelectChoice(one.axis, f"{one.axis} only") for one in found.axes]
    ]  # fmt: skip
    return form


@blueprint.route("/desk/machines/<machine>/budget/lines/<line>", methods=["GET", "POST"])
def line(machine: str, line: str) -> Response:
    """Change a line, or add one ("new"), with the reason."""
    found = _found(machine)
    form = _form(found, line)
    if request.method == "POST" and form.validate():
        parts, who = wiring(), sessions.signed_in()
        try:
            budgeting.set_line(
                parts.store, machine, _read(form, line, found), form["reason"].data, who.id, parts.now()
            )
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
        else:
            return _back(machine, "changed")
    status = 422 if request.method == "POST" else 200
    return _line_page(found, line, form, TakeBack(formdata=None), status)


@blueprint.post("/desk/machines/<machine>/budget/lines/<line>/take-back")
def take_back(machine: str, line: str) -> Response:
    """Take the lead's line back, with the reason; what the shop file says counts again."""
    form, parts, who = TakeBack(), wiring(), sessions.signed_in()
    axis = request.form.get("axis") or None
    if form.validate():
        try:
            budgeting.take_back(parts.store, machine, line, axis, form.reason.data, who.id, parts.now())
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
        else:
            return _back(machine, "taken_back")
    found = _found(machine)
    return _line_page(found, line, _form(found, line, formdata=None), form, 422)


def _found(machine: str) -> MachineBudget:
    parts = wiring()
    return budgeting.machine_budget(parts.store, machine, parts.now())


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
            **_axis(one, unit),
            "rows": [_row(named, share, unit) for named, share in _shared(one)],
            "run": _run(one, seed, unit),
        }
        for one in found.axes
    ]
    return make_response(
        render_template(
            "desk/budget.html",
            budget=found,
            axes=axes,
            unit=unit,
            form=form,
            correlation=correlation or _correlation_form(found, formdata=None),
            back=back or TakeBack(formdata=None),
            pairs=[_pair(word, found) for word in found.correlations],
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


def _run(one: AxisBudget, seed: int, unit: str) -> dict[str, Any]:
    """The Monte Carlo run beside an axis, as texts."""
    run = budgeting.monte_carlo(one.result, one.axis, seed)
    half_nm = (run.high_nm - run.low_nm) / 2
    wider = 100 * abs(one.result.expanded_nm / half_nm - 1)
    return {
        "draws": f"{run.draws:,}".replace(",", " "),
        "low": signed_fine(run.low_nm, unit),
        "high": signed_fine(run.high_nm, unit),
        "error": finest(max(run.low_error_nm, run.high_error_nm), unit),
        "tolerance": finest(run.tolerance_nm, unit),
        "apart": finest(run.apart_nm(one.result), unit),
        "verdict": run.verdict,
        "by": f"{wider:.1f}",
        "law_is_wider": one.result.expanded_nm > half_nm,
    }


def _pair(word: LeadCorrelation, found: MachineBudget) -> dict[str, Any]:
    lines = {named.id: _line_name(named) for axis in found.axes for named in axis.lines}
    return {
        "word": word,
        "one": lines.get(word.one, word.one),
        "other": lines.get(word.other, word.other),
        "on": word.axis or "every axis",
        "coefficient": word.coefficient.replace("-", "−"),
        "waits": not {word.one, word.other} <= set(lines),
    }


def _line_name(named: NamedLine) -> str:
    return plain(named.line.name_code) if named.line.name_code in SHOP_NAMES else named.line.name_code


def _shared(one: AxisBudget) -> list[tuple[NamedLine, float]]:
    return list(zip(one.lines, one.result.shares, strict=True))


def _axis(one: AxisBudget, unit: str) -> dict[str, Any]:
    result = one.result
    degrees = result.degrees_of_freedom
    return {
        "axis": one.axis,
        "combined": fine(result.combined_nm, unit),
        "expanded": fine(result.expanded_nm, unit),
        "factor": f"{result.coverage_factor:.2f}",
        "degrees": "∞" if degrees is None else f"{degrees:.1f}",
        "confidence": f"{100 * result.confidence:.6g} %",
    }


def _row(named: NamedLine, share: float, unit: str) -> dict[str, Any]:
    found = named.line
    distribution = found.distribution
    is_code = found.name_code in SHOP_NAMES
    value = f"±{found.value:g} K" if named.id == THERMAL else fine(found.value, unit)
    return {
        "id": named.id,
        "name": plain(found.name_code) if is_code else found.name_code,
        "value": value,
        "distribution": plain(f"budget.{distribution.value}"),
        "divisor": f"{distribution.divisor:.3f}".rstrip("0").rstrip("."),
        "sensitivity": f"{found.sensitivity / Unit(unit).nm:.6f} {unit}/K" if named.id == THERMAL else "1",
        "standard": fine(found.standard_nm, unit),
        "degrees": "∞" if found.degrees_of_freedom is None else f"{found.degrees_of_freedom:g}",
        "source": plain(found.source) if found.source.startswith("budget.source_") else found.source,
        "share": f"{100 * share:.1f}",
        "bar": f"{100 * share:.2f}",
        "by_lead": named.by_lead,
        "widened": named.widened,
        "changeable": named.id in CHANGEABLE or named.id not in SHOP_LINES,
    }


SHOP_NAMES = {f"budget.{name}" for name in SHOP_LINES}


def fine(value_nm: float, unit: str) -> str:
    """A small length in the machine's unit:
    ten thousandths of a millimetre, hundred thousandths of an inch.
    """
    return format_length(round(value_nm), Display(Unit(unit), 4 if unit == "mm" else 5), sign=False)


def finest(value_nm: float, unit: str) -> str:
    """What is smaller than the budget's own figures: to ten nanometres, or a millionth of an inch."""
    return f"{value_nm / Unit(unit).nm:.{5 if unit == 'mm' else 6}f}"


def signed_fine(value_nm: float, unit: str) -> str:
    """The same with its sign."""
    return ("−" if value_nm < 0 else "+") + fine(abs(value_nm), unit)


def _form(found: MachineBudget, line_id: str, **more: Any) -> DeskForm:
    """The form of a line with what it holds now. Raises NotFound for a line that there is not."""
    asked = request.args.get("axis") or None
    now = next((one for one in found.changes if (one.id, one.axis) == (line_id, asked)), None)
    named = next(
        (
            one
            for axis in found.axes
            for one in axis.lines
            if one.id == line_id and asked in {None, axis.axis}
        ),
        None,
    )
    if not LINE_ID.fullmatch(line_id) or (line_id != NEW and named is None) or line_id == "resolution":
        raise NotFound
    made: DeskForm
    if line_id == THERMAL:
        made = ThermalForm(data=_thermal_now(found, now), **more)
    else:
        made = BudgetLineForm(data=_line_now(found, now, named), **more)
    choices = [SelectChoice(one.axis, f"{one.axis} only") for one in found.axes]
    made["axis"].choices = [SelectChoice("", "every axis"), *choices]
    return made


def _line_now(found: MachineBudget, now: LeadLine | None, named: NamedLine | None) -> dict[str, Any]:
    display = fine_display(found.machine.unit)
    if now is not None:
        value, distribution, source, name = now.value_nm, now.distribution, now.source, now.name
        return {"axis": now.axis or "", "name": name, "value": _plain_length(value, display),
                "distribution": distribution, "degrees": now.degrees_of_freedom or "",
                "source": source}  # fmt: skip
    if named is None:
        return {"distribution": Distribution.RECTANGULAR.value}
    line = named.line
    name = plain(line.name_code) if line.name_code in SHOP_NAMES else line.name_code
    return {"axis": request.args.get("axis", ""), "name": name,
            "value": _plain_length(round(line.value), display), "distribution": line.distribution.value,
            "source": ""}  # fmt: skip


def _thermal_now(found: MachineBudget, now: LeadLine | None) -> dict[str, Any]:
    display = fine_display(found.machine.unit)
    if now is not None:
        return {"axis": now.axis or "", "span": _plain_length(now.span_nm or 0, display),
                "expansion": now.um_per_m_kelvin, "swing": now.half_range_kelvin,
                "source": now.source}  # fmt: skip
    line = next(one.line for axis in found.axes for one in axis.lines if one.id == THERMAL)
    span_nm = found.fixture.expanding_length_nm
    expansion = line.sensitivity / span_nm * 1e6 if span_nm else 11.5
    return {"axis": request.args.get("axis", ""), "span": _plain_length(span_nm, display),
            "expansion": f"{expansion:g}", "swing": f"{line.value:g}", "source": ""}  # fmt: skip


def _plain_length(value_nm: int, display: Display) -> str:
    text = format_length(value_nm, display, sign=False)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _read(form: DeskForm, line_id: str, found: MachineBudget) -> LeadLine:
    data = {name: (form[name].data or "") for name in form.data if name != "reason"}
    unit = found.machine.unit
    if isinstance(form, ThermalForm):
        return read_thermal(name="budget.thermal", unit=unit, **data)
    if line_id == NEW:
        line_id = f"own-{sha256(data['name'].strip().lower().encode()).hexdigest()[:12]}"
    elif line_id in SHOP_LINES:
        data["name"] = f"budget.{line_id}"
    return read_line(line_id=line_id, unit=unit, **data)


def _line_page(found: MachineBudget, line_id: str, form: DeskForm, back: TakeBack, status: int) -> Response:
    own = [one for one in found.changes if one.id == line_id]
    title = "A new line" if line_id == NEW else _title(found, line_id)
    return make_response(
        render_template(
            "desk/budget_line.html",
            budget=found,
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


def _title(found: MachineBudget, line_id: str) -> str:
    line = next(one.line for axis in found.axes for one in axis.lines if one.id == line_id)
    return plain(line.name_code) if line.name_code in SHOP_NAMES else line.name_code


def _back(machine: str, done: str) -> Response:
    return make_response(redirect(url_for("budgets.page", machine=machine, done=done), 303))
