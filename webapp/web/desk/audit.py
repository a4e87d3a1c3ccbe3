"""For the auditor: the head of the ledger, its entries, and the check of a PDF that somebody brings along.

Rules: nothing is shown that the ledger does not hold; the check of an uploaded PDF is the same as the command
line's, and
the file is not kept.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from itertools import islice
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, make_response, render_template, request
from werkzeug.exceptions import NotFound

from webapp.domain.evidence import tree
from webapp.store.rows import LeafRow
from webapp.web.desk import forms
from webapp.web.desk.desk import names
from webapp.web.edge.wiring import wiring
from webapp.web.show import rendering

if TYPE_CHECKING:
    from webapp.store import Store

blueprint = Blueprint("audit", __name__)

A_PAGE = 100


@blueprint.get("/audit")
def ledger() -> str:
    """The ledger's head, and its entries, newest first, a page at a time."""
    store = wiring().store
    with store.reading():
        size = store.ledger.size()
        root = store.ledger.root().hex()
        before = _before(size)
        first = max(0, before - A_PAGE)
        entries = entries_between(store, first, before)
    return render_template(
        "desk/ledger.html",
        size=size,
        root=root,
        entries=list(reversed(entries)),
        older=first or None,
        newer=min(size, before + A_PAGE) if before < size else None,
        first=first,
        before=before,
        names=names(),
    )


def entries_between(store: Store, first: int, before: int) -> list[dict[str, Any]]:
    """Entries from `first` up to but not `before`, in order, each with its exact text: what was signed, or the change.

    Inside the caller's transaction. The ledger is read from its start, as the auditor would.
    """
    leaves = list(islice(store.ledger.all_leaves(), first, before))
    kinds = {leaf["kind"] for leaf in leaves}
    texts: dict[int, Any] = {}
    if "change" in kinds:
        texts |= _within(store.ledger.all_changes(), first, before)
    if "event" in kinds:
        texts |= _within(store.setups.all_events(), first, before)
    return [_entry(leaf, texts[leaf["position"]]) for leaf in leaves]


def _within(rows: Iterable[Any], first: int, before: int) -> dict[int, Any]:
    found = {}
    for row in rows:
        if row["position"] >= before:
            break
        if row["position"] >= first:
            found[row["position"]] = row
    return found


def _entry(leaf: LeafRow, row: Any) -> dict[str, Any]:
    is_event = leaf["kind"] == "event"
    return {
        "position": leaf["position"],
        "kind": leaf["kind"],
        "hash": leaf["hash"].hex(),
        "text": row["jws"] if is_event else row["text"],
        "type": row["type"],
        "by": row["person"] if is_event else row["by"],
        "subject": row["device"] if is_event else row["subject"],
        "setup": row["setup"],
        "at_utc": row["at_utc"],
    }


def _before(size: int) -> int:
    text = request.args.get("before", "")
    return min(int(text), size) if re.fullmatch(r"[0-9]{1,9}", text) else size


@blueprint.get("/audit/<int(max=999999999):position>")
def entry(position: int) -> str:
    """One entry in full: its exact text, its leaf hash as stored and as worked out again."""
    store = wiring().store
    with store.reading():
        found = entries_between(store, position, position + 1)
    if not found:
        raise NotFound
    one = found[0]
    return render_template(
        "desk/entry.html", entry=one, again=tree.leaf_hash(one["text"].encode()).hex(), value=_readable(one)
    )


def _readable(entry: dict[str, Any]) -> str | None:
    if entry["kind"] != "change":
        return None
    return json.dumps(json.loads(entry["text"]), indent=2, ensure_ascii=False, sort_keys=True)


@blueprint.route("/audit/verify", methods=["GET", "POST"])
def verify() -> Response:
    """Check a PDF: the seal, the data inside, whether the page follows from the data."""
    form = forms.CheckRecord()
    report, name, digest, status = None, None, None, 200
    if request.method == "POST":
        status = 200 if form.validate() else 422
        if status == 200:
            name = (form.pdf.data.filename or "")[:200]
            with rendering.one_at_a_time():
                pdf = form.pdf.data.read()
                report, digest = wiring().verify(pdf), hashlib.sha256(pdf).hexdigest()
    return make_response(
        render_template("desk/verify.html", form=form, report=report, name=name, digest=digest), status
    )
