"""A machine is closed, and opened again, with a reason.

Rule: words that were typed to close a machine never stand ready as the reason to open it. Where somebody else
closed it meanwhile they are shown, and the form asks anew.
"""

from __future__ import annotations

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.plain.errors import DomainError
from webapp.services.setups import closing
from webapp.web.desk import forms
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("closing", __name__)


@blueprint.route("/desk/machines/<machine>/closed", methods=["GET", "POST"])
@once
def machine(machine: str) -> Response:
    """Whether a machine is closed, and the form that closes or opens it."""
    form, parts, who, typed = forms.CloseMachine(), wiring(), sessions.signed_in(), ""
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
    if request.method == "POST" and form.do.data != _offered(closed):
        typed, form.reason.data = form.reason.data, ""
    form.do.data = _offered(closed)
    about = {"name": name, "closed": closed, "typed": typed, "names": names()}
    page = render_template("desk/close_machine.html", form=form, **about)
    return make_response(page, 422 if request.method == "POST" else 200)


def _offered(closed: closing.Closed | None) -> str:
    """What the form does with a machine that stands so."""
    return "open" if closed else "close"
