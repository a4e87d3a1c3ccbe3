"""For the auditor: the head of the ledger, its entries, and the check of a PDF that somebody brings along.

Rules: nothing is shown that the ledger does not hold; the check of an uploaded PDF is the same as the command
line's, and the file is not kept.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping

from flask import Blueprint, Response, make_response, render_template, request
from werkzeug.exceptions import NotFound

from webapp.domain.evidence import tree
from webapp.services.decisions import adding
from webapp.services.evidence.entries import (
    LONGEST_WORDS,
    Entry,
    Found,
    Sought,
    entry_at,
    newest_entries,
    sought_entries,
)
from webapp.services.shop import reading
from webapp.web.desk import forms, lists
from webapp.web.edge.wiring import wiring
from webapp.web.show import rendering
from webapp.web.show.naming import names

blueprint = Blueprint("audit", __name__)

A_PAGE = 100


@blueprint.get("/audit")
def ledger() -> str:
    """The ledger's head, and its entries, newest first, a page at a time; or those that a filter lets
    through.
    """
    parts, asked = wiring(), _asked()
    found, newer = _page(asked)
    kept = {name: value for name, value in asked.items() if value}
    return render_template(
        "desk/ledger.html",
        found=found,
        newer=newer,
        asked=asked,
        filtered=bool(kept),
        older=lists.address("audit.ledger", kept, before=str(found.older)) if found.older else None,
        files=lists.files("audit.ledger_file", kept, before=request.args.get("before")),
        filter_people=reading.people_to_choose_from(parts.store),
        names=names(),
    )


@blueprint.get("/audit/entries.<any(csv, json):form>")
def ledger_file(form: str) -> Response:
    """The entries that the page shows, as a table or as JSON, without their texts."""
    asked, called = _asked(), names()
    rows = [
        {
            "entry": str(one.position),
            **lists.time_columns("at", one.at_utc),
            "stored_as": one.kind,
            "what": one.type,
            "by": one.by,
            "by_name": called.get(one.by, one.by),
            "about": one.subject,
            "setup": one.setup or "",
            "leaf_hash": one.hash,
        }
        for one in _page(asked)[0].entries
    ]
    return lists.handed_out("ledger", form, COLUMNS, rows, {**asked, "before": str(_before() or "")})


COLUMNS = (
    "entry", *lists.time_columns("at"), "stored_as", "what", "by", "by_name", "about", "setup", "leaf_hash",
)  # fmt: skip
# What stands in the address, and what it asks for.
FILTERS = {"what": "type", "by": "by", "from": "from_day", "to": "to_day", "words": "words"}


def _asked() -> dict[str, str]:
    return {name: request.args.get(name, "").strip()[:LONGEST_WORDS] for name in FILTERS}


def _page(asked: Mapping[str, str]) -> tuple[Found, int | None]:
    """The entries of the page, and in front of which place the page before it ends (None: there is none)."""
    store, before = wiring().store, _before()
    if any(asked.values()):
        sought = Sought(**{FILTERS[name]: value for name, value in asked.items()})
        return sought_entries(store, sought, before, A_PAGE), None
    found = newest_entries(store, before, A_PAGE)
    newer = min(found.size, found.before + A_PAGE) if found.before < found.size else None
    return Found(found.size, found.root, found.entries[::-1], found.first or None, None), newer


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
