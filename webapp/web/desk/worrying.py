"""A worry at the desk: what was raised, and the form that closes it by a check or with a reason.

Rules: only a lead closes one; a refusal of the use case comes back into the form with all that was typed.
"""

from __future__ import annotations

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.plain.errors import DomainError
from webapp.services.setups import worrying
from webapp.web.desk import forms
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("worrying", __name__)


@blueprint.route("/desk/worries/<event>", methods=["GET", "POST"])
@once
def worry(event: str) -> Response:
    """One worry in its own words, open or closed."""
    form, parts, who = forms.CloseWorry(), wiring(), sessions.signed_in()
    one = worrying.worry(parts.store, event)
    if request.method == "POST" and form.validate():
        try:
            worrying.close(parts.store, event, who.id, form.how.data, form.reason.data or "", parts.now())
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
        else:
            if request.args.get("from") == "setup":
                address = url_for("desk.setup", setup_id=one.row.setup, done="worry_closed")
                return make_response(redirect(address, 303))
            return make_response(
                redirect(url_for("desk.queue", done="worry_closed", about=one.row.about), 303)
            )
    status = 422 if request.method == "POST" else 200
    return make_response(render_template("desk/worry.html", form=form, one=one, names=names()), status)
