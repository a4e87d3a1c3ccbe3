"""For lead and auditor: a bundle for somebody outside, of one setup or of what was done between two days.

Rules: a bundle is made whole in a file that nobody else sees before its first byte leaves, so that a fault
on the way is a page and not half a bundle, and its length costs no memory; one is made at a time.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from tempfile import TemporaryFile

from flask import Blueprint, Response, make_response, render_template

from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.zones import day_begins_utc
from webapp.services.audit.handing_out import Asked
from webapp.web.desk import forms
from webapp.web.edge import sessions
from webapp.web.edge.shop_zone import shop_zone
from webapp.web.edge.wiring import wiring
from webapp.web.show import rendering
from webapp.web.show.shown_values import plain

blueprint = Blueprint("handing_out", __name__)

PIECE_BYTES = 64 * 1024


@blueprint.post("/desk/setups/<uuid:setup_id>/bundle.zip")
def setup(setup_id: object) -> Response:
    """One setup's evidence. Raises NoSuchSetup, LedgerWentBack."""
    return _bundle(Asked(setup=str(setup_id)), f"setup-{setup_id}")


@blueprint.route("/audit/bundle", methods=["GET", "POST"])
def days() -> Response:
    """Choose the first and the last day; the bundle of all that was begun and changed between."""
    form, status = forms.Days(), 200
    if form.is_submitted():
        status = 422
        if form.validate():
            try:
                return _bundle(
                    _between(form.first.data, form.last.data), f"{form.first.data}-{form.last.data}"
                )
            except DomainError as refusal:
                form.refuse("last", plain(refusal.code, refusal.fields))
    return make_response(render_template("desk/bundle.html", form=form), status)


def _between(first: date, last: date) -> Asked:
    zone = shop_zone()
    return Asked(since_utc=day_begins_utc(first, zone), until_utc=day_begins_utc(last, zone, 1))


def _bundle(asked: Asked, name: str) -> Response:
    pieces = _pieces(asked, sessions.signed_in().id)
    with rendering.one_at_a_time():
        next(pieces)
    answer = Response(pieces)
    answer.headers["Content-Type"] = "application/zip"
    answer.headers["Content-Disposition"] = f'attachment; filename="zerokeep-{name}.zip"'
    return answer


def _pieces(asked: Asked, by: str) -> Iterator[bytes]:
    """Nothing, once the bundle is whole, and then the bundle."""
    parts = wiring()
    with TemporaryFile() as file:
        parts.hand_out(asked, by, parts.now(), file)
        file.seek(0)
        yield b""
        while piece := file.read(PIECE_BYTES):
            yield piece
