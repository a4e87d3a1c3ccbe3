"""A machine, a fixture or a probe is taken out of use, and back into it, with a reason.

Rule: words that were typed to take it out never stand ready as the reason to take it back, or the other way.
Where somebody else did it meanwhile they are shown, and the form asks anew.
"""

from __future__ import annotations

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.plain.errors import DomainError
from webapp.services.numbers import seatings
from webapp.services.shop import out_of_use
from webapp.services.shop.out_of_use import Part, Standing
from webapp.web.desk import forms
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show.shown_values import with_reasons

blueprint = Blueprint("out_of_use", __name__)


@blueprint.route("/desk/shop/<any(machine, fixture, probe):kind>/<item>/use", methods=["GET", "POST"])
@once
def thing(kind: Part, item: str) -> Response:
    """Whether a thing is in use, and the form that takes it out of use or back into it."""
    form, parts, typed = forms.OutOfUse(), wiring(), ""
    found = out_of_use.standing(parts.store, kind, item)
    if request.method == "POST" and form.validate():
        try:
            _act(kind, item, form)
        except DomainError as refusal:
            form.refuse(None, with_reasons(refusal))
            found = out_of_use.standing(parts.store, kind, item)
        else:
            return make_response(redirect(url_for("items.page", done=item, _anchor=f"k-{kind}"), 303))
    if request.method == "POST" and form.do.data != _offered(found):
        typed, form.reason.data = form.reason.data, ""
    form.do.data = _offered(found)
    page = render_template("desk/out_of_use.html", form=form, found=found, typed=typed)
    return make_response(page, 422 if request.method == "POST" else 200)


def _offered(found: Standing) -> str:
    """What the form does with a thing that stands so."""
    return "out" if found.in_use else "back"


def _act(kind: Part, item: str, form: forms.OutOfUse) -> None:
    parts, who, reason = wiring(), sessions.signed_in(), form.reason.data or ""
    if form.do.data == "out":
        out_of_use.take_out(parts.store, kind, item, reason, who.id, parts.now())
        return
    seating = seatings.seating_id(item, parts.now(), parts.new_token())
    out_of_use.take_back(parts.store, kind, item, reason, who.id, parts.now(), seating)
