"""For lead and auditor: the ledger's head of today to print, keep or mail, and heads that were kept compared
with it.

Rules: a head proves something only where it lies away from this server, so the page is made to be printed,
and the same text comes as a file or as a mail to be sent. What is typed from paper is a number and a root in
groups; what was kept as a file is the signed note. Two of them are compared with each other and with the
ledger, and the proof is handed out.
"""

from __future__ import annotations

import json
from email.message import EmailMessage

from flask import Blueprint, Response, make_response, render_template

from webapp.domain.evidence.checkpoint import Checkpoint
from webapp.domain.plain.errors import DomainError
from webapp.domain.record.facts import grouped
from webapp.proof.errors import NoteRefused
from webapp.services.audit import kept_heads
from webapp.services.evidence import signed_heads
from webapp.services.times import utc_text
from webapp.web.desk import forms
from webapp.web.edge.wiring import wiring
from webapp.web.show.shown_values import plain

blueprint = Blueprint("heads", __name__)


@blueprint.get("/audit/head")
def today() -> str:
    """The signed head of now as a page to print."""
    note, head = _signed()
    return render_template(
        "desk/head.html",
        note=note,
        head=head,
        root=grouped(head.root),
        keys=[key.text for key in wiring().keyring.head_keys],
        at_utc=utc_text(wiring().now()),
    )


@blueprint.get("/audit/head.txt")
def text() -> Response:
    """The same as the signed note alone."""
    note, head = _signed()
    return _file(note.encode(), "text/plain; charset=utf-8", f"head-{head.size}.txt")


@blueprint.get("/audit/head.eml")
def mail() -> Response:
    """The same as a mail without an address, for a mail program to open and send."""
    note, head = _signed()
    message = EmailMessage()
    message["Subject"] = plain("head.mail_subject", {"size": head.size, "name": head.origin})
    message["X-Unsent"] = "1"
    message.set_content(plain("head.mail_text", {"size": head.size}) + "\n\n" + note)
    return _file(message.as_bytes(), "message/rfc822", f"head-{head.size}.eml")


@blueprint.route("/audit/heads", methods=["GET", "POST"])
def compare() -> Response:
    """Whether the ledger has a head that was kept, or whether two of different days are of one ledger."""
    form, found, status = forms.KeptHeads(), None, 200
    if form.is_submitted():
        status = 200 if form.validate() else 422
        if status == 200:
            found, status = _compared(form)
    proof = json.dumps(found.grown, indent=1) if found and found.grown else None
    return make_response(render_template("desk/heads.html", form=form, found=found, proof=proof), status)


def _compared(form: forms.KeptHeads) -> tuple[kept_heads.Compared | None, int]:
    parts = wiring()
    kept = []
    for name in ("one", "other"):
        typed = form[name].data or ""
        if not typed.strip():
            continue
        try:
            kept.append(kept_heads.read_kept(typed, parts.keyring.head_keys))
        except (DomainError, NoteRefused) as refusal:
            form.refuse(name, plain(refusal.code, refusal.fields))
            return None, 422
    return kept_heads.compare(parts.store, kept), 200


def _signed() -> tuple[str, Checkpoint]:
    parts = wiring()
    note = signed_heads.sign_head(parts.store, parts.keyring.head_signer)
    return note, signed_heads.read_head(note, parts.keyring.head_keys)


def _file(body: bytes, kind: str, name: str) -> Response:
    answer = make_response(body)
    answer.headers["Content-Type"] = kind
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
