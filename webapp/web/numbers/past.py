"""Past values from a table: looked at first, then taken in; and all kept values as a table again.

Rules: a table that was looked at lies beside the database under its own hash until it is taken in, so that
what is taken in is what was looked at; every line that is refused or asked about stands there with its number
and its reason, and an asked one is taken only where it is ticked. A table that the desk hands out can be
taken in again.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from hashlib import sha256
from tempfile import TemporaryFile

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for
from werkzeug.exceptions import NotFound

from webapp.domain.plain.errors import DomainError
from webapp.services.errors import NothingToImport
from webapp.services.evidence import looked_at
from webapp.services.numbers import past_values, staged_tables, written_out
from webapp.services.numbers.past_values import AllTheSame, Looked
from webapp.services.shop import reading
from webapp.web.desk.pressed_once import once
from webapp.web.edge import denials, sessions
from webapp.web.edge.wiring import wiring
from webapp.web.numbers.forms import PastFile
from webapp.web.show import rendering, shown_values
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("past", __name__)

MOST_SHOWN = 200
PIECE_BYTES = 64 * 1024
LINE = re.compile(r"[0-9]{1,9}")


@blueprint.get("/desk/past")
def overview() -> str:
    """What was taken in so far, and the ways in and out."""
    parts = wiring()
    fixtures = reading.names_of_fixtures(parts.store)
    found = past_values.imports(parts.store)
    return render_template(
        "desk/past.html", imports=found, fixtures=fixtures, done=request.args.get("done"), names=names()
    )


@blueprint.get("/desk/past.csv")
def export() -> Response:
    """All kept values as a table, or those of one fixture."""
    wanted = request.args.get("fixture", "").strip()[:80] or None
    pieces = _written_out(written_out.export(wiring().store, wanted))
    with rendering.one_at_a_time():
        given = next(pieces).decode()
    who, about = sessions.signed_in(), wanted or "every fixture"
    denials.note_copy(who, looked_at.VALUES, about, given, {"fixture": wanted})
    answer = Response(pieces)
    answer.headers["Content-Type"] = "text/csv; charset=utf-8"
    answer.headers["Content-Disposition"] = 'attachment; filename="past-values.csv"'
    return answer


def _written_out(lines: Iterable[str]) -> Iterator[bytes]:
    """The SHA-256 of all lines in hex, once they lie in a file, and then that file:
    an answer of many years is not held in memory.
    """
    digest = sha256()
    with TemporaryFile() as table:
        for line in lines:
            digest.update(line.encode())
            table.write(line.encode())
        table.seek(0)
        yield digest.hexdigest().encode()
        while piece := table.read(PIECE_BYTES):
            yield piece


@blueprint.route("/desk/past/import", methods=["GET", "POST"])
def look() -> Response:
    """Choose a table and see what taking it in would do. Nothing is changed."""
    form, parts = PastFile(), wiring()
    if request.method == "GET":
        return _look_page(form, None, 200)
    if not form.validate():
        return _look_page(form, None, 422)
    data = form.table.data.read()
    name = (form.table.data.filename or "table.csv")[:120]
    try:
        with rendering.one_at_a_time():
            looked = past_values.look(parts.store, lambda: [data], parts.now())
            staged_tables.stage(parts.store, data)
    except DomainError as refusal:
        form.refuse(None, plain(refusal.code, refusal.fields))
        return _look_page(form, None, 422)
    return _look_page(form, looked, 200, name)


@blueprint.post("/desk/past/import/<digest>")
@once
def take_in(digest: str) -> Response:
    """Take in the table that was looked at."""
    form, parts, who = PastFile(formdata=None), wiring(), sessions.signed_in()
    name = (request.form.get("name") or "table.csv")[:120]
    ticked = _ticked(request.form.getlist("all_the_same"))
    try:
        with rendering.one_at_a_time():
            data = staged_tables.staged(parts.store, digest)
            past_values.take_in(parts.store, lambda: [data], name, who.id, parts.now(), all_the_same=ticked)
            staged_tables.drop(parts.store, digest)
    except NothingToImport as refusal:
        form.refuse(None, plain(refusal.code, refusal.fields))
        looked = past_values.look(parts.store, lambda: [data], parts.now())
        return _look_page(form, looked, 422, name)
    except DomainError as refusal:
        form.refuse(None, plain(refusal.code, refusal.fields))
        return _look_page(form, None, 422)
    return make_response(redirect(url_for("past.overview", done="taken"), 303))


def _ticked(values: list[str]) -> AllTheSame:
    """The lines that are taken though they are asked about."""
    if past_values.EVERY in values:
        return past_values.EVERY
    return {int(one) for one in values if LINE.fullmatch(one)}


@blueprint.get("/desk/past/setups/<uuid:setup_id>")
def setup(setup_id: object) -> str:
    """One past setup that was taken in: its values, and which line of which table it comes from."""
    parts = wiring()
    found = past_values.past_page(parts.store, str(setup_id))
    if found is None:
        raise NotFound
    return render_template(
        "desk/past_setup.html",
        rows=found.rows,
        line=found.line,
        table=found.table,
        fixture=found.fixture,
        lengths=shown_values.Lengths(found.display),
        names=names(),
    )


def _look_page(form: PastFile, looked: Looked | None, status: int, name: str = "") -> Response:
    lines = [] if looked is None else looked.lines[:MOST_SHOWN]
    asked = [] if looked is None else looked.asked_lines[:MOST_SHOWN]
    return make_response(
        render_template(
            "desk/past_import.html",
            form=form,
            looked=looked,
            lines=[(one.line, plain(one.reason.code, one.reason.fields)) for one in lines],
            asked=[(one.line, [plain(why.code, why.fields) for why in one.reasons]) for one in asked],
            name=name,
            names=names(),
        ),
        status,
    )
