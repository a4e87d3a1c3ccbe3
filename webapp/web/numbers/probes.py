"""Probes and their checks: read by lead and auditor, typed in and kept by the lead.

Rules: a check is worked out and shown before it is kept, and only what was shown is kept; what was typed
stays in the form until it is.
How often a probe is checked, and what counts while it is overdue, is changed with a reason.
"""

from __future__ import annotations

import re
from decimal import Decimal
from hashlib import sha256
from math import sqrt
from typing import Any

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for
from wtforms.fields.choices import SelectChoice

from webapp.domain.plain.errors import DomainError
from webapp.domain.probe.probe_health import DIAMETRAL, TOUCHED_AT, CheckTyped
from webapp.domain.probe.ring_check import RingCheck
from webapp.services.errors import NotLookedAt
from webapp.services.numbers import probing
from webapp.services.numbers.probing import ProbeHealth
from webapp.services.setups import worrying
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.numbers.forms import ProbeCare, ProbeCheckForm
from webapp.web.show.budget_texts import fine
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("probes", __name__)

FIELDS = (*DIAMETRAL, *(name for name, _, _ in TOUCHED_AT))
# What places could tell, of checks that were kept before that was said: by the fit's degrees of freedom.
FORM_BY_DEGREES = {0: "cannot_show", 1: "cannot_show", 2: "not_how", 3: "may_miss"}
DAYS = re.compile(r"[0-9]{1,5}")
FACTOR = re.compile(r"[0-9]{1,4}([.,][0-9]{1,2})?")


@blueprint.get("/desk/probes")
def overview() -> str:
    """Every probe, its last check, and when the next is due."""
    parts = wiring()
    found = [_shown(one) for one in probing.probes(parts.store, parts.now())]
    return render_template("desk/probes.html", probes=found, names=names())


@blueprint.get("/desk/probes/<probe>")
def probe(probe: str) -> str:
    """One probe: what its checks found, and whether the last one still holds."""
    parts = wiring()
    found = _shown(probing.health(parts.store, probe, parts.now()))
    about = [
        one
        for one in worrying.open_worries(parts.store)
        if (one.row.about, one.row.probe) == ("probe", probe)
    ]
    return render_template(
        "desk/probe.html", **found, done=request.args.get("done"), names=names(), worries=about
    )


@blueprint.route("/desk/probes/<probe>/check", methods=["GET", "POST"])
@once
def check(probe: str) -> Response:
    """Type a check in, see what it comes to, then keep it."""
    parts, who = wiring(), sessions.signed_in()
    health = probing.health(parts.store, probe, parts.now())
    form = ProbeCheckForm()
    form.machine.choices = [SelectChoice(one.id, f"{one.name}, {one.unit}") for one in health.machines]
    if request.method == "GET":
        form.artefact.data, form.way.data = "ring", "diametral"
        return _check_page(health, form, None, 200)
    tried: RingCheck | None = None
    if form.validate():
        typed = _typed(form)
        try:
            tried = probing.try_check(parts.store, probe, form.machine.data, typed)
            if request.form.get("keep") == "yes":
                if request.form.get("seen") != _digest(form.machine.data, typed):
                    raise NotLookedAt
                note = form.note.data or ""
                probing.keep_check(parts.store, probe, form.machine.data, typed, note, who.id, parts.now())
                return _back(probe, "checked")
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
    return _check_page(health, form, tried, 422 if form.errors else 200)


def _digest(machine: str, typed: CheckTyped) -> str:
    """What tells a check that was worked out and shown from another one."""
    return sha256(repr((machine, typed)).encode("utf-8", "surrogatepass")).hexdigest()


@blueprint.route("/desk/probes/<probe>/care", methods=["GET", "POST"])
@once
def care(probe: str) -> Response:
    """Say how often the probe is checked, and how wide it counts while it is overdue."""
    parts, who = wiring(), sessions.signed_in()
    health = probing.health(parts.store, probe, parts.now())
    form = ProbeCare(data={"every_days": health.every_days or "", "factor": f"{health.factor:g}"})
    status = 200
    if request.method == "POST":
        status = 422
        if form.validate() and _read_care(form):
            days, factor = int(form.every_days.data), Decimal(form.factor.data.replace(",", "."))
            try:
                probing.set_care(
                    parts.store, probe, days, int(factor * 100), form.reason.data, who.id, parts.now()
                )
            except DomainError as refusal:
                form.refuse(None, plain(refusal.code, refusal.fields))
            else:
                return _back(probe, "care")
    return make_response(render_template("desk/probe_care.html", probe=health.probe, form=form), status)


def _read_care(form: ProbeCare) -> bool:
    """Refuse beside the field what is no number."""
    for field, shape, say in (
        (form.every_days, DAYS, "Type a whole number of days, such as 90."),
        (form.factor, FACTOR, "Type a number of 1 or more with two decimals at most, such as 2 or 1.5."),
    ):
        if not shape.fullmatch((field.data or "").strip()):
            field.errors = [f"“{field.data}” is no such number. {say}"]
            return False
    return True


def _typed(form: ProbeCheckForm) -> CheckTyped:
    return CheckTyped(
        form.artefact.data,
        form.diameter.data or "",
        form.diameter_uncertainty.data or "",
        form.way.data,
        {name: (form[name].data or "").strip() for name in FIELDS if form.way.data == "diametral"},
        (form.places.data or "") if form.way.data == "places" else "",
    )


def _check_page(health: ProbeHealth, form: ProbeCheckForm, tried: RingCheck | None, status: int) -> Response:
    machine = next((one for one in health.machines if one.id == form.machine.data), None)
    unit = machine.unit if machine else (health.machines[0].unit if health.machines else "mm")
    found = None if tried is None else _result(_as_stored(tried), unit, health.probe.effective_radius_nm)
    seen = "" if tried is None else _digest(form.machine.data, _typed(form))
    about = {"probe": health.probe, "form": form, "found": found, "seen": seen, "unit": unit}
    return make_response(render_template("desk/probe_check.html", **about), status)


def _as_stored(found: RingCheck) -> dict[str, Any]:
    return vars(found)


def _shown(health: ProbeHealth) -> dict[str, Any]:
    """What pages show of a probe: its checks as texts in the unit of the machine that each was made on."""
    units = {one.id: one.unit for one in health.machines}
    own = next(iter(units.values()), "mm")
    checks = [
        {
            **row,
            "unit": units.get(row["machine"], own),
            "result": _result(row["found"], units.get(row["machine"], own), health.probe.effective_radius_nm),
        }
        for row in health.checks
    ]
    effective, diameter = (
        fine(health.probe.effective_radius_nm, own),
        fine(health.probe.ball_diameter_nm, own),
    )
    return {"health": health, "checks": checks, "unit": own, "effective": effective, "diameter": diameter}


def _result(found: dict[str, Any], unit: str, stated_nm: int) -> dict[str, Any]:
    def text(value: Any) -> str:
        return "–" if value is None else fine(value, unit)

    apart = found["effective_radius_nm"] - stated_nm
    form = found.get("form") or FORM_BY_DEGREES.get(found["degrees_of_freedom"])
    degrees = found.get("expanded_degrees")
    return {
        "effective": text(found["effective_radius_nm"]),
        "uncertainty": text(found["uncertainty_nm"]),
        "expanded": text(found.get("expanded_nm")),
        "expanded_degrees": "∞" if degrees is None else str(degrees),
        "lobing": "–" if form == "cannot_show" else text(found["lobing_nm"]),
        "says": _says(found, form, unit),
        "doubtful": bool(found.get("chord_axis")) and not found.get("chord_is_taken_out"),
        "repeatability": text(found["repeatability_nm"]),
        "radius_x": text(found["radius_x_nm"]),
        "radius_y": text(found["radius_y_nm"]),
        "apart": ("−" if apart < 0 else "+") + fine(abs(apart), unit),
        "path_radius": text(found["path_radius_nm"]),
        "degrees": found["degrees_of_freedom"],
        "covariance": _covariance(found["covariance_nm2"], unit),
    }


def _says(found: dict[str, Any], form: str | None, unit: str) -> list[str]:
    """What the places can tell of lobes, what they do tell, and whether touches ran beside the middle."""
    said = []
    if form == "named":
        fields = {"lobes": found["lobes"], "height": fine(found["lobe_height_nm"], unit), "unit": unit}
        said.append(plain("ring.form_named", fields))
        if found["or_lobes"]:
            said.append(plain("ring.form_named_or", {"other": found["or_lobes"]}))
    elif form is not None:
        said.append(plain(f"ring.form_{form}"))
    if found.get("chord_axis"):
        how = "taken_out" if found["chord_is_taken_out"] else "beside"
        fields = {"axis": found["chord_axis"], "off": fine(found["chord_off_nm"], unit), "unit": unit}
        said.append(plain(f"ring.chord_{how}", fields))
    return said


def _covariance(matrix: Any, unit: str) -> list[dict[str, Any]]:
    """Standard uncertainties of centre and radius, and how they hang together; nothing without a fit."""
    if not matrix:
        return []
    spreads = [sqrt(max(0.0, matrix[place][place])) for place in range(3)]

    def hangs(one: int, other: int) -> str:
        both = spreads[one] * spreads[other]
        return f"{matrix[one][other] / both:+.2f}".replace("-", "−") if both else "–"

    return [
        {"name": name, "u": fine(spreads[place], unit), "with": [hangs(place, other) for other in range(3)]}
        for place, name in enumerate(("centre, X", "centre, Y", "radius"))
    ]


def _back(probe: str, done: str) -> Response:
    return make_response(redirect(url_for("probes.probe", probe=probe, done=done), 303))
