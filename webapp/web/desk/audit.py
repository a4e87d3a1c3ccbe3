"""For the auditor: the head of the ledger, its entries, and the check of a PDF that somebody brings along.

Rules: nothing is shown that the ledger does not hold; the check of an uploaded PDF is the same as the command
line's, and the file is not kept.
"""

from __future__ import annotations

import hashlib
import json
import re

from flask import Blueprint, Response, make_response, render_template, request
from werkzeug.exceptions import NotFound

from webapp.domain.evidence import tree
from webapp.services.decisions import adding
from webapp.services.evidence.entries import Entry, entry_at, newest_entries
from webapp.web.desk import forms
from webapp.web.edge.wiring import wiring
from webapp.web.show import rendering
from webapp.web.show.naming import names

blueprint = Blueprint("audit", __name__)

A_PAGE = 100


@blueprint.get("/audit")
def ledger() -> str:
    """The ledger's head, and its entries, newest first, a page at a time."""
    found = newest_entries(wiring().store, _before(), A_PAGE)
    return render_template(
        "desk/ledger.html",
        size=found.size,
        root=found.root,
        entries=list(reversed(found.entries)),
        older=found.first or None,
        newer=min(found.size, found.before + A_PAGE) if found.before < found.size else None,
        first=found.first,
        before=found.before,
        names=names(),
    )


def _before() -> int | None:
    text = request.args.get("before", "")
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) else None


@blueprint.get("/audit/<int(max=999999999):position>")
def entry(position: int) -> str:
    """One entry in full: its exact text, its leaf hash as stored and as worked out again."""
    one = entry_at(wiring().store, position)
    if one is None:
        raise NotFound
    return render_template(
        "desk/entry.html", entry=one, again=tree.leaf_hash(one.text.encode()).hex(), value=_readable(one)
    )


def _readable(entry: Entry) -> str | None:
    if entry.kind != "change":
        return None
    return json.dumps(json.loads(entry.text), indent=2, ensure_ascii=False, sort_keys=True)


@blueprint.route("/audit/verify", methods=["GET", "POST"])
def verify() -> Response:
    """Check a PDF: the seal, the data inside, whether the page follows from the data."""
    form = forms.CheckRecord()
    report, name, digest, status, found = None, None, None, 200, adding.NONE
    if request.method == "POST":
        status = 200 if form.validate() else 422
        if status == 200:
            name = (form.pdf.data.filename or "")[:200]
            with rendering.one_at_a_time():
                pdf = form.pdf.data.read()
                report, digest = wiring().verify(pdf), hashlib.sha256(pdf).hexdigest()
            found = adding.additions_to(wiring().store, digest)
    return make_response(
        render_template(
            "desk/verify.html",
            form=form,
            report=report,
            name=name,
            digest=digest,
            names=names(),
            additions=found.additions,
            additions_setup=found.setup,
        ),
        status,
    )
