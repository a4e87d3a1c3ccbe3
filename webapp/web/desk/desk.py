"""The desk's reading pages: what waits for the lead, the list of setups, one setup with every number beside
its limit.

Rules: an operator sees their own setups only, lead and auditor see all; a setup that may not be seen is
answered like one that does not exist. Filters stand in the address, so that a page can be sent to somebody.
"""

from __future__ import annotations

from collections.abc import Mapping

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.proof.seal_term import seal_term
from webapp.proof.tls_certificate import tls_term
from webapp.services.audit import auditing
from webapp.services.decisions import signing_off
from webapp.services.evidence import epochs, looked_at, rotation, safekeeping, timekeeping
from webapp.services.intake import alarms, intake
from webapp.services.numbers import past_values
from webapp.services.setups import answering, listing, recording, worrying
from webapp.services.shop import reading
from webapp.web.desk.opened import must_see, opened
from webapp.web.edge import denials, sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show import rendering
from webapp.web.show.naming import names

blueprint = Blueprint("desk", __name__)

# What stands in the address, and what it asks for.
FILTERS = {
    "machine": "machine", "person": "person", "state": "state", "from": "from_day", "to": "to_day",
    "after": "after",
}  # fmt: skip


@blueprint.get("/desk")
def queue() -> str:
    """What waits for the lead: setups to sign off, open questions, signatures that do not hold, what was set
    aside.
    """
    parts = wiring()
    return render_template(
        "desk/queue.html",
        queue=signing_off.queue(parts.store),
        questions=answering.questions(parts.store),
        worries=worrying.open_worries(parts.store),
        unsealed=recording.unsealed(parts.store),
        waiting=intake.waiting(parts.store),
        refused=intake.refused(parts.store),
        clock_jumps=timekeeping.recent_jumps(parts.store, parts.now()),
        audited=auditing.last_run(parts.store),
        alarms=alarms.open_alarms(parts.store),
        restored=epochs.recent(parts.store, parts.now()),
        backup_due=None if parts.settings.demo else safekeeping.reminder(parts.store, parts.now()),
        keys_due=[] if parts.settings.demo else rotation.reminders(parts.store, parts.now()),
        seal_term=seal_term(parts.keyring.seal_certificate, parts.now()),
        tls_term=tls_term(parts.settings.tls_certificate, parts.now()),
        names=names(),
    )


@blueprint.get("/desk/setups")
def setups() -> str:
    """The setups that the person may see and the filter lets through, newest first, a page at a time."""
    parts, who = wiring(), sessions.signed_in()
    asked = {name: request.args.get(name, "").strip() for name in FILTERS}
    wanted = listing.Wanted(**{FILTERS[name]: value for name, value in asked.items()})
    found = listing.setups(parts.store, wanted, None if who.reads_all else who.id)
    kept = {name: value for name, value in asked.items() if value and name != "after"}
    return render_template(
        "desk/setups.html",
        rows=found.rows,
        older=_address(kept, after=found.older) if found.older else None,
        newest=_address(kept) if asked["after"] else None,
        wanted=asked,
        filtered=bool(kept),
        states=listing.STATES,
        filter_machines=reading.names_of_machines(parts.store),
        filter_people=reading.people_to_choose_from(parts.store),
        names=names(),
    )


def _address(kept: Mapping[str, str], **more: str) -> str:
    """Where the list stands with these filters."""
    return url_for(
        "desk.setups", _anchor=None, _method=None, _scheme=None, _external=None, **{**kept, **more}
    )


@blueprint.get("/desk/setups/<uuid:setup_id>")
def setup(setup_id: object) -> str | Response:
    """One setup: what was typed beside its limits, what was asked and answered, and where it stands.

    A past setup that was taken in from a table has a page of its own.
    """
    if sessions.signed_in().reads_all and past_values.past_setup(wiring().store, str(setup_id)):
        return make_response(redirect(url_for("past.setup", setup_id=setup_id), 303))
    return render_template("desk/setup.html", **opened(str(setup_id)))


@blueprint.get("/desk/setups/<uuid:setup_id>/unsigned.pdf")
def unsigned(setup_id: object) -> Response:
    """The setup as a PDF before it is signed off, plainly marked as such."""
    must_see(str(setup_id))
    parts = wiring()
    with rendering.one_at_a_time():
        pdf = recording.unsigned_pdf(
            parts.store, str(setup_id), parts.render_unsigned, parts.now(), parts.renderer
        )
    _note(looked_at.UNSIGNED, str(setup_id), {})
    return _pdf(pdf, f"setup-{setup_id}-not-signed-off.pdf")


@blueprint.get("/records/<uuid:setup_id>.pdf")
def record(setup_id: object) -> Response:
    """The sealed record, byte for byte as it was sealed."""
    must_see(str(setup_id))
    digest, pdf = recording.stored_pdf(wiring().store, str(setup_id))
    _note(looked_at.RECORD, str(setup_id), {"sha256": digest})
    return _pdf(pdf, f"setup-{setup_id}.pdf")


def _note(kind: str, setup_id: str, data: dict[str, object]) -> None:
    """Put onto the ledger that this person takes a copy."""
    if request.method == "GET":
        denials.note_copy(sessions.signed_in(), kind, setup_id, data)


def _pdf(body: bytes, name: str) -> Response:
    answer = make_response(body)
    answer.headers["Content-Type"] = "application/pdf"
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
