"""A machine is closed, and opened again, with a reason."""

from __future__ import annotations

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.plain.errors import DomainError
from webapp.services.setups import closing
from webapp.web.desk import forms
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("closing", __name__)


@blueprint.route("/desk/machines/<machine>/closed", methods=["GET", "POST"])
def machine(machine: str) -> Response:
    """Whether a machine is closed, and the form that closes or opens it."""
    form, parts, who = forms.CloseMachine(), wiring(), sessions.signed_in()
    name, closed = closing.machine_name(parts.store, machine)
    if request.method == "POST" and form.validate():
        act = closing.open_again if form.do.data == "open" else closing.close
        try:
            act(parts.store, machine, form.reason.data or "", who.id, parts.now())
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
            name, closed = closing.machine_name(parts.store, machine)
        else:
            return make_response(redirect(url_for("board.machines", _anchor=f"m-{machine}"), 303))
    form.do.data = "open" if closed else "close"
    page = render_template("desk/close_machine.html", form=form, name=name, closed=closed, names=names())
    return make_response(page, 422 if request.method == "POST" else 200)
