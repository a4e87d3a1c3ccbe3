"""The desk's reading pages: what waits for the lead, the list of setups, one setup with every number beside
its limit.

Rules: an operator sees their own setups only, lead and auditor see all; a setup that may not be seen is
answered like one that does not exist. Filters stand in the address, so that a page can be sent to somebody.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.record.found_by import VERDICTS
from webapp.proof.certificates.tls_certificate import tls_term
from webapp.proof.keys.seal_term import seal_term
from webapp.services.audit import auditing
from webapp.services.decisions import signing_off
from webapp.services.evidence import epochs, looked_at, rotation, safekeeping, timekeeping
from webapp.services.intake import alarms, intake
from webapp.services.numbers import past_values
from webapp.services.setups import answering, board, listing, photos, recording, worrying
from webapp.services.shop import beginning, reading
from webapp.services.times import from_text
from webapp.web.desk import lists
from webapp.web.desk.on_one_page import opened_before, setup_page
from webapp.web.desk.opened import must_see
from webapp.web.edge import denials, sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show import rendering, shown_values
from webapp.web.show.naming import names

blueprint = Blueprint("desk", __name__)

# What stands in the address, and what it asks for.
FILTERS = {
    "machine": "machine", "person": "person", "slot": "slot", "state": "state", "verdict": "verdict",
    "from": "from_day", "to": "to_day", "cause": "cause", "worry": "worry", "words": "words",
    "after": "after",
}  # fmt: skip


@blueprint.get("/desk")
def queue() -> str:
    """What waits for the lead: setups to sign off, open questions, signatures that do not hold, what was set
    aside.
    """
    parts = wiring()
    worries, questions = worrying.open_worries(parts.store), answering.questions(parts.store)
    waiting = signing_off.queue(parts.store)
    since = (
        *(one.row.at_utc for one in worries),
        *(one["at_utc"] for one in questions),
        *(one["last_at_utc"] for one in waiting),
    )
    return render_template(
        "desk/queue.html",
        queue=waiting,
        questions=questions,
        worries=worries,
        opened=opened_before(),
        oldest_ms=_waited_ms(min(since), parts.now()) if since else None,
        unsealed=recording.unsealed(parts.store),
        unsealed_count=recording.count_unsealed(parts.store),
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
        next_ends=board.next_ends(parts.store, parts.now()),
        still_to_do=beginning.still_to_do(parts.store),
        names=names(),
    )


def _waited_ms(since_utc: str, now: datetime) -> int:
    return max(0, int((now - from_text(since_utc)).total_seconds() * 1000))


@blueprint.get("/desk/setups")
def setups() -> str:
    """The setups that the person may see and the filter lets through, newest first, a page at a time."""
    parts, asked = wiring(), _asked()
    found = _found(asked)
    kept = {name: value for name, value in asked.items() if value and name != "after"}
    return render_template(
        "desk/setups.html",
        rows=found.rows,
        older=lists.address("desk.setups", kept, after=found.older) if found.older else None,
        looked_to=found.looked_to,
        newest=lists.address("desk.setups", kept) if asked["after"] else None,
        wanted=asked,
        filtered=bool(kept),
        states=listing.STATES,
        verdicts=VERDICTS,
        causes=shown_values.kinds_of_cause(),
        worry_kinds=listing.WORRY_KINDS,
        files={
            form: lists.address(f"desk.setups_{form}", kept, after=asked["after"]) for form in lists.KINDS
        },
        filter_machines=reading.names_of_machines(parts.store),
        filter_people=reading.people_to_choose_from(parts.store),
        names=names(),
    )


@blueprint.get("/desk/setups.csv")
def setups_csv() -> Response:
    """The rows that the list shows, as a table."""
    return lists.handed_out("setups", "csv", COLUMNS, _rows_to_hand_out(), _asked())


@blueprint.get("/desk/setups.json")
def setups_json() -> Response:
    """The rows that the list shows, as JSON."""
    return lists.handed_out("setups", "json", COLUMNS, _rows_to_hand_out(), _asked())


COLUMNS = (
    "setup", *lists.time_columns("started_at"), *lists.time_columns("last_heard_at"), "person", "person_name",
    "machine", "machine_name", "slot", "state", "came_to", "verdicts", "sealed",
)  # fmt: skip


def _rows_to_hand_out() -> list[dict[str, str]]:
    """The rows that the list shows, by column."""
    called = names()
    return [
        {
            "setup": one.row["id"],
            **lists.time_columns("started_at", one.row["started_at_utc"]),
            **lists.time_columns("last_heard_at", one.row["last_at_utc"]),
            "person": one.row["person"],
            "person_name": called.get(one.row["person"], one.row["person"]),
            "machine": one.row["machine"],
            "machine_name": called.get(one.row["machine"], one.row["machine"]),
            "slot": one.slot or "",
            "state": one.row["status"],
            "came_to": one.row["outcome"] or "",
            "verdicts": " ".join(one.verdicts),
            "sealed": "yes" if one.row["sealed"] else "no",
        }
        for one in _found(_asked()).rows
    ]


def _asked() -> dict[str, str]:
    return {name: request.args.get(name, "").strip() for name in FILTERS}


def _found(asked: Mapping[str, str]) -> listing.Listed:
    """What fits, among what the person may see."""
    who = sessions.signed_in()
    wanted = listing.Wanted(**{FILTERS[name]: value for name, value in asked.items()})
    return listing.setups(wiring().store, wanted, None if who.reads_all else who.id)


@blueprint.get("/desk/setups/<uuid:setup_id>")
def setup(setup_id: object) -> str | Response:
    """One setup: what was typed beside its limits, what was asked and answered, and where it stands.

    A past setup that was taken in from a table has a page of its own.
    """
    if sessions.signed_in().reads_all and past_values.past_setup(wiring().store, str(setup_id)):
        return make_response(redirect(url_for("past.setup", setup_id=setup_id), 303))
    return setup_page(str(setup_id))


@blueprint.get("/desk/setups/<uuid:setup_id>/unsigned.pdf")
def unsigned(setup_id: object) -> Response:
    """The setup as a PDF before it is signed off, plainly marked as such."""
    must_see(str(setup_id))
    parts = wiring()
    with rendering.one_at_a_time():
        pdf = recording.unsigned_pdf(
            parts.store, str(setup_id), parts.render_unsigned, parts.now(), parts.renderer
        )
    # Each printing has other bytes: the setup as it stands tells one copy from another.
    shown = signing_off.reviewed_now(parts.store, str(setup_id))["sha256"]
    _note(looked_at.UNSIGNED, str(setup_id), shown, {}, of="reviewed_sha256")
    return _pdf(pdf, f"setup-{setup_id}-not-signed-off.pdf")


@blueprint.get("/desk/setups/<uuid:setup_id>/photos/<event>.jpg")
def photo(setup_id: object, event: str) -> Response:
    """A picture of a setup, as the server made it of what the tablet sent."""
    must_see(str(setup_id))
    answer = make_response(photos.picture(wiring().store, str(setup_id), event))
    answer.headers["Content-Type"] = "image/jpeg"
    answer.headers["Content-Disposition"] = f'inline; filename="photo-{event[:12]}.jpg"'
    return answer


@blueprint.get("/records/<uuid:setup_id>.pdf")
def record(setup_id: object) -> Response:
    """The sealed record, byte for byte as it was sealed."""
    must_see(str(setup_id))
    digest, pdf = recording.stored_pdf(wiring().store, str(setup_id))
    _note(looked_at.RECORD, str(setup_id), digest, {})
    return _pdf(pdf, f"setup-{setup_id}.pdf")


def _note(kind: str, subject: str, digest: str, data: dict[str, object], *, of: str = "sha256") -> None:
    """Put onto the ledger that this person takes a copy of what this digest tells."""
    if request.method == "GET":
        denials.note_copy(sessions.signed_in(), kind, subject, digest, data, of=of)


def _pdf(body: bytes, name: str) -> Response:
    answer = make_response(body)
    answer.headers["Content-Type"] = "application/pdf"
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
