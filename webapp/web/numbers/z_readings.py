"""What a machine's page reads on Z: read by lead and auditor, checked by the lead with the passphrase again.

Rules: what was typed stays in the form, the passphrase aside;
the page says what hangs on the answer before it asks.
"""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.lengths import format_length
from webapp.domain.shop.z_check import ZTyped, ball_radius_nm
from webapp.services.numbers import z_reading
from webapp.services.numbers.z_reading import MachineZ
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.numbers.forms import ZCheckForm
from webapp.web.show.naming import names
from webapp.web.show.shown_values import Lengths, plain

blueprint = Blueprint("z_readings", __name__)


@blueprint.get("/desk/machines/<machine>/z")
def page(machine: str) -> Response:
    """What holds, and for a lead the form that checks it."""
    found = z_reading.z_of(wiring().store, machine)
    return _page(found, ZCheckForm(formdata=None, data=_stated(found)), 200)


@blueprint.post("/desk/machines/<machine>/z")
@once
def check(machine: str) -> Response:
    """Keep a check, or say what does not fit."""
    form, parts, who = ZCheckForm(), wiring(), sessions.signed_in()
    if form.validate():
        typed = ZTyped(form.point.data, form.length.data or "", form.surface.data or "", form.page.data or "")
        try:
            z_reading.keep_check(
                parts.store, machine, typed, form.passphrase.data, who.id, parts.now(), sessions.source()
            )
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
        else:
            return make_response(redirect(url_for("z_readings.page", machine=machine, done="checked"), 303))
    return _page(z_reading.z_of(parts.store, machine), form, 422)


def _stated(found: MachineZ) -> dict[str, Any]:
    """What the shop's file says, as it stands in the form before anybody types."""
    if found.stated is None:
        return {}
    length_nm = found.stated.length_nm
    length = "" if length_nm is None else format_length(length_nm, found.machine.display, sign=False)
    return {"point": found.stated.point.value, "length": length}


def _page(found: MachineZ, form: ZCheckForm, status: int) -> Response:
    body = render_template(
        "desk/z_reading.html",
        found=found,
        machine=found.machine,
        form=form,
        lengths=Lengths(found.machine.display),
        radius_nm=ball_radius_nm(found.probe),
        done=request.args.get("done") if request.method == "GET" else None,
        names=names(),
    )
    return make_response(body, status)
