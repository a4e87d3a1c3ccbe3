"""The forms of a budget: a line with what it holds now, and what is read from it."""

from __future__ import annotations

import re
from hashlib import sha256
from typing import Any

from flask import request
from werkzeug.exceptions import NotFound
from wtforms.fields.choices import SelectChoice

from webapp.domain.budget.lines import SHOP_LINES, THERMAL, LeadLine, NamedLine
from webapp.domain.budget.typed import fine_display, read_line, read_thermal
from webapp.domain.budget.uncertainty import Distribution
from webapp.services.numbers.budgeting import MachineBudget
from webapp.web.desk.forms import DeskForm
from webapp.web.numbers.forms import BudgetLineForm, CorrelationForm, ThermalForm
from webapp.web.show.budget_texts import line_name, plain_length

LINE_ID = re.compile(r"[a-z0-9-]{1,40}")
NEW = "new"


def correlation_form(found: MachineBudget, **more: Any) -> CorrelationForm:
    """The form that says how two of these lines hang together."""
    form = CorrelationForm(**more)
    names = {named.id: line_name(named) for axis in found.axes for named in axis.lines}
    form.one.choices = form.other.choices = [SelectChoice(one, name) for one, name in names.items()]
    if form.other.data is None and len(names) > 1:
        form.other.data = list(names)[1]
    form.pair_axis.choices = [
        SelectChoice("", "every axis"), *[SelectChoice(one.axis, f"{one.axis} only") for one in found.axes]
    ]  # fmt: skip
    return form


def line_form(found: MachineBudget, line_id: str, **more: Any) -> DeskForm:
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
        return {"axis": now.axis or "", "name": name, "value": plain_length(value, display),
                "distribution": distribution, "degrees": now.degrees_of_freedom or "",
                "source": source}  # fmt: skip
    if named is None:
        return {"distribution": Distribution.RECTANGULAR.value}
    line = named.line
    return {"axis": request.args.get("axis", ""), "name": line_name(named),
            "value": plain_length(round(line.value), display), "distribution": line.distribution.value,
            "source": ""}  # fmt: skip


def _thermal_now(found: MachineBudget, now: LeadLine | None) -> dict[str, Any]:
    display = fine_display(found.machine.unit)
    if now is not None:
        return {"axis": now.axis or "", "span": plain_length(now.span_nm or 0, display),
                "expansion": now.um_per_m_kelvin, "swing": now.half_range_kelvin,
                "source": now.source}  # fmt: skip
    line = next(one.line for axis in found.axes for one in axis.lines if one.id == THERMAL)
    span_nm = found.fixture.expanding_length_nm
    expansion = line.sensitivity / span_nm * 1e6 if span_nm else 11.5
    return {"axis": request.args.get("axis", ""), "span": plain_length(span_nm, display),
            "expansion": f"{expansion:g}", "swing": f"{line.value:g}", "source": ""}  # fmt: skip


def read_form(form: DeskForm, line_id: str, found: MachineBudget) -> LeadLine:
    """Read the line that was typed. Raises the refusals of a budget."""
    data = {name: (form[name].data or "") for name in form.data if name != "reason"}
    unit = found.machine.unit
    if isinstance(form, ThermalForm):
        return read_thermal(name="budget.thermal", unit=unit, **data)
    if line_id == NEW:
        line_id = f"own-{sha256(data['name'].strip().lower().encode()).hexdigest()[:12]}"
    elif line_id in SHOP_LINES:
        data["name"] = f"budget.{line_id}"
    return read_line(line_id=line_id, unit=unit, **data)


def line_title(found: MachineBudget, line_id: str) -> str:
    """What a line that is there is called."""
    return line_name(next(one for axis in found.axes for one in axis.lines if one.id == line_id))
