"""The shop's registers: tablets, slots, people and what they may run, machines and fixtures with their
limits.

Rules: the slot register, people and machines are read here; tablets are taken into and out of use here. A
one-time code is shown once, on the page that made it, and never again: only its hash is kept.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp import trust_page
from webapp.domain.plain.errors import DomainError
from webapp.proof import own_certificate
from webapp.services.intake import alarms, enrolling
from webapp.services.sheets import preparing
from webapp.services.sheets.preparing import SheetOrRefusal
from webapp.services.shop import reading
from webapp.web.desk import forms
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show import shown_values
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

if TYPE_CHECKING:
    from webapp.store import Store

blueprint = Blueprint("registers", __name__)

CODE_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
CODE_LENGTH = 10
LONGEST_FIND = 120


@blueprint.get("/desk/tablets")
def tablets() -> Response:
    """All tablets, and the form that makes a one-time code."""
    return _tablets_page()


@blueprint.post("/desk/tablets/code")
def make_code() -> Response:
    """Make a one-time code for enrolling one tablet, and show it this once."""
    parts, who = wiring(), sessions.signed_in()
    code = one_time_code(parts.new_token())
    made = enrolling.make_code(parts.store, who.id, parts.now(), code)
    return _tablets_page(code=code, until_utc=made["until_utc"])


def one_time_code(token: str) -> str:
    """Ten letters and digits that cannot be mistaken for each other, from the chance in a token.

    The token carries at least 128 bits;
    its hash, taken as a number, leaves the ten places (31**10, 49 bits) even.
    """
    number = int.from_bytes(hashlib.sha256(token.encode()).digest(), "big")
    letters = []
    for _ in range(CODE_LENGTH):
        number, place = divmod(number, len(CODE_LETTERS))
        letters.append(CODE_LETTERS[place])
    return "".join(letters)


@blueprint.post("/desk/tablets/<device_id>/disable")
def disable_tablet(device_id: str) -> Response:
    """Take a tablet out of use. What it sent before stays; what it sends from now on is refused."""
    return _change_tablet(device_id, "disable", enrolling.disable)


@blueprint.post("/desk/tablets/<device_id>/fork-cleared")
def clear_fork(device_id: str) -> Response:
    """Say that the two histories of a tablet were looked into.
    Both stay; what it sends is no longer marked.
    """
    return _change_tablet(device_id, "clear_fork", enrolling.clear_fork)


@blueprint.post("/desk/tablets/alarms/<alarm>")
def answer_alarm(alarm: str) -> Response:
    """Write down what was found about a tablet's report of the ledger."""
    form, parts, who = forms.TabletReason(), wiring(), sessions.signed_in()
    said = None if form.validate() else form.reason.errors[0]
    if said is None:
        try:
            alarms.answer(parts.store, alarm, who.id, (form.reason.data or "").strip(), parts.now())
        except DomainError as refusal:
            said = plain(refusal.code, refusal.fields)
        else:
            return make_response(redirect(url_for("registers.tablets"), 303))
    return _tablets_page(status=422, wrong={"device": alarm, "form": "alarm", "said": said, "typed": ""})


def _change_tablet(
    device_id: str, form_name: str, change: Callable[[Store, str, str, str, datetime], None]
) -> Response:
    """One change of a tablet with its reason; a refusal comes back beside the form that was sent."""
    form, parts, who = forms.TabletReason(), wiring(), sessions.signed_in()
    typed = (form.reason.data or "").strip()
    said = None if form.validate() else form.reason.errors[0]
    if said is None:
        try:
            change(parts.store, device_id, who.id, typed, parts.now())
        except DomainError as refusal:
            said = plain(refusal.code, refusal.fields)
        else:
            return make_response(redirect(url_for("registers.tablets"), 303))
    wrong = {"device": device_id, "form": form_name, "said": said, "typed": typed}
    return _tablets_page(status=422, wrong=wrong)


def _tablets_page(status: int = 200, **more: Any) -> Response:
    shown = {
        "alarms": alarms.open_alarms(wiring().store),
        "devices": enrolling.devices(wiring().store),
        "names": names(),
        "wrong": None,
        "code": None,
        "trust": _how_to_trust(),
        **more,
    }
    return make_response(render_template("desk/tablets.html", **shown), status)


def _how_to_trust() -> dict[str, str] | None:
    """Where a new device learns to trust this server, and what people compare, if it has to."""
    settings = wiring().settings
    if not settings.by_own_authority:
        return None
    authority = own_certificate.look(settings.certificate_folder).authority
    return {
        "page": trust_page.address(settings),
        "fingerprint": own_certificate.fingerprint(authority),
        "tablet": f"{settings.address}/tablet",
    }


@blueprint.get("/desk/slots")
def slots() -> str:
    """The slot register of every machine: whose each slot is, until when, what was last seen in it."""
    registers = [
        {"register": one, "lengths": shown_values.Lengths(one.display)}
        for one in reading.registers(wiring().store, wiring().now())
    ]
    return render_template("desk/slots.html", registers=registers, names=names(), now=_now_text())


@blueprint.get("/desk/people")
def people() -> str:
    """People by name, a page at a time:
    roles, authorisations and until when, whether first secrets are changed.
    """
    find = request.args.get("find", "").strip()[:LONGEST_FIND]
    found = reading.everybody(wiring().store, find, request.args.get("after", "")[:LONGEST_FIND])
    return render_template(
        "desk/people.html",
        everybody=found.people,
        given=found.given,
        slots=found.slots,
        more=found.more,
        find=find,
        may_change=sessions.signed_in().is_a("lead"),
        names=names(),
        now=_now_text(),
    )


@blueprint.get("/desk/machines")
def machines() -> str:
    """Machines, fixtures and probes with their measures, and for each axis the usual with its two lines."""
    parts = wiring()
    compiled = preparing.current_sheets(parts.store, parts.keyring, parts.now())
    return render_template("desk/machines.html", sheets=[_with_sheet(one) for one in compiled])


def _with_sheet(compiled: SheetOrRefusal) -> dict[str, Any]:
    if compiled["text"] is None:
        return {**compiled, "sheet": None, "lengths": None}
    sheet = json.loads(compiled["text"])
    return {
        **compiled,
        "sheet": sheet,
        "lengths": shown_values.Lengths(shown_values.display_of(sheet["machine"])),
    }


def _now_text() -> str:
    return wiring().now().strftime("%Y-%m-%dT%H:%M:%S.000Z")
