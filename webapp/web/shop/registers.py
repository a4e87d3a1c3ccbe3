"""The shop's registers: tablets, slots, people and what they may run, machines and fixtures with their
limits.

Rules: the slot register, people and machines are read here; tablets are taken into and out of use here. A
one-time code is shown once, on the page that made it, and never again: only its hash is kept.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.plain.errors import DomainError
from webapp.proof.certificates import own_certificate
from webapp.server import trust_page
from webapp.services.errors import NameRefused
from webapp.services.intake import alarms, enrolling, from_file
from webapp.services.sheets import preparing
from webapp.services.sheets.preparing import SheetOrRefusal
from webapp.services.shop import finding_slots, finding_tablets, reading
from webapp.services.shop.finding_slots import ONLY, FoundSlots, WantedSlots
from webapp.web.desk import forms, lists
from webapp.web.desk.pressed_once import once
from webapp.web.edge import secure, sessions
from webapp.web.edge.shop_zone import shop_moment
from webapp.web.edge.wiring import wiring
from webapp.web.show import shown_values, square_codes
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import AuthorisationRow

blueprint = Blueprint("registers", __name__)

CODE_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
CODE_LENGTH = 10
LONGEST_FIND = 120


@blueprint.get("/desk/tablets")
def tablets() -> Response:
    """Tablets by name, a page at a time, and the form that makes a one-time code."""
    find, after = (request.args.get(name, "").strip()[:LONGEST_FIND] for name in ("find", "after"))
    return _tablets_page(find=find, after=after)


@blueprint.post("/desk/tablets/code")
@once
def make_code() -> Response:
    """Make a one-time code for enrolling one tablet, and show it this once."""
    parts, who = wiring(), sessions.signed_in()
    code = one_time_code(parts.new_token())
    made = enrolling.make_code(parts.store, who.id, parts.now(), code)
    picture = square_codes.enrolment_picture(secure.address_for_others(), code)
    return _tablets_page(code=code, until_utc=made["until_utc"], picture=picture)


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
@once
def disable_tablet(device_id: str) -> Response:
    """Take a tablet out of use. What it sent before stays; what it sends from now on is refused."""
    return _change_tablet(device_id, "disable", enrolling.disable)


@blueprint.post("/desk/tablets/<device_id>/name")
@once
def rename_tablet(device_id: str) -> Response:
    """Call a tablet by another name."""
    form, parts, who = forms.TabletName(), wiring(), sessions.signed_in()
    typed = (form.name.data or "").strip()
    said = None if form.validate() else form.name.errors[0]
    if said is None:
        try:
            enrolling.rename(parts.store, device_id, who.id, typed, parts.now())
        except NameRefused:
            said = plain("web.tablet_name", {"typed": typed, "longest": enrolling.LONGEST_NAME})
        except DomainError as refusal:
            said = plain(refusal.code, refusal.fields)
        else:
            return make_response(redirect(url_for("registers.tablets"), 303))
    wrong = {"device": device_id, "form": "name", "said": said, "typed": typed}
    return _tablets_page(status=422, wrong=wrong)


@blueprint.post("/desk/tablets/<device_id>/fork-cleared")
@once
def clear_fork(device_id: str) -> Response:
    """Say that the two histories of a tablet were looked into.
    Both stay; what it sends is no longer marked.
    """
    return _change_tablet(device_id, "clear_fork", enrolling.clear_fork)


@blueprint.post("/desk/tablets/alarms/<alarm>")
@once
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


@blueprint.route("/desk/tablets/file", methods=["GET", "POST"])
@once
def waiting_file() -> Response:
    """Take in what a tablet could not send, from the file that it wrote; what became of it."""
    form, parts, who = forms.WaitingFile(), wiring(), sessions.signed_in()
    brought = None
    if request.method == "POST" and form.validate():
        try:
            content = form.file.data.read()
            brought = from_file.take_file(parts.store, parts.keyring, content, who.id, parts.now())
        except DomainError as refusal:
            form.refuse("file", plain(refusal.code, refusal.fields))
    page = render_template("desk/waiting_file.html", form=form, brought=brought)
    return make_response(page, 200 if request.method == "GET" or brought else 422)


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


def _tablets_page(status: int = 200, find: str = "", after: str = "", **more: Any) -> Response:
    wrong = more.get("wrong") or {}
    found = finding_tablets.tablets(wiring().store, find, after, wrong.get("device", ""))
    shown = {
        "alarms": alarms.open_alarms(wiring().store),
        "devices": found.tablets,
        "found": found,
        "find": find,
        "more": lists.address("registers.tablets", {"find": find}, after=found.more) if found.more else None,
        "names": names(),
        "wrong": None,
        "code": None,
        "longest_name": enrolling.LONGEST_NAME,
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
    """The slot register of every machine: whose each slot is, until when, what was last seen in it; or the
    slots that a filter lets through, or a page of all of them where there are more than one page holds.
    """
    parts, asked = wiring(), _slots_asked()
    kept = {name: value for name, value in asked.items() if value and name != "after"}
    every = () if any(asked.values()) else reading.registers(parts.store, parts.now())
    is_long = sum(len(one.rows) for one in every) > finding_slots.A_PAGE
    found = _found_slots(asked) if any(asked.values()) or is_long else None
    registers = [{"register": one, "lengths": shown_values.Lengths(one.display)} for one in every]
    return render_template(
        "desk/slots.html",
        registers=registers,
        found=found,
        more=lists.address("registers.slots", kept, after=found.more) if found and found.more else None,
        lengths_of=shown_values.Lengths,
        asked=asked,
        filtered=bool(kept),
        only=ONLY,
        files=lists.files("registers.slots_file", kept, after=asked["after"]),
        filter_machines=reading.names_of_machines(parts.store),
        filter_people=reading.people_to_choose_from(parts.store),
        names=names(),
        now=_now_text(),
    )


@blueprint.get("/desk/slots.<any(csv, json):form>")
def slots_file(form: str) -> Response:
    """The slots that the page shows, as a table or as JSON."""
    asked, called = _slots_asked(), names()
    filtered = any(asked.values())
    if filtered:
        shown = [(one.machine.id, one.machine.display, one.row) for one in _found_slots(asked).rows]
    else:
        registers = reading.registers(wiring().store, wiring().now())
        shown = [(one.id, one.display, row) for one in registers for row in one.rows]
    rows = [
        {
            "machine": machine,
            "machine_name": called.get(machine, machine),
            "slot": row["label"],
            "kind": row["kind"],
            "owner": row["owner"] or "",
            "owner_name": called.get(row["owner"], row["owner"]) if row["owner"] else "",
            **lists.time_columns("until", row["until_utc"]),
            "held_back": "yes" if row["held_back"] else "no",
            "unit": shown_values.Lengths(display).unit,
            **{
                axis.lower(): shown_values.Lengths(display).signed((row["last_values"] or {}).get(axis))
                for axis in AXES
            },
            **lists.time_columns("seen_at", row["last_seen_at_utc"]),
            "last_setup": row["last_setup"] or "",
            "used_otherwise": row["used_otherwise"] or "",
        }
        for machine, display, row in shown
    ]
    return lists.handed_out("slots", form, SLOT_COLUMNS, rows, asked)


AXES = ("X", "Y", "Z")
SLOT_COLUMNS = (
    "machine", "machine_name", "slot", "kind", "owner", "owner_name", *lists.time_columns("until"),
    "held_back", "unit", "x", "y", "z", *lists.time_columns("seen_at"), "last_setup", "used_otherwise",
)  # fmt: skip
SLOT_FILTERS = ("machine", "person", "only", "words", "after")


def _slots_asked() -> dict[str, str]:
    return {name: request.args.get(name, "").strip()[:LONGEST_FIND] for name in SLOT_FILTERS}


def _found_slots(asked: Mapping[str, str]) -> FoundSlots:
    return finding_slots.slots(wiring().store, WantedSlots(**asked), wiring().now())


@blueprint.get("/desk/people")
def people() -> str:
    """People by name, a page at a time:
    roles, authorisations and until when, whether first secrets are changed.
    """
    asked, found = _people_asked(), _found_people()
    return render_template(
        "desk/people.html",
        everybody=found.people,
        given=found.given,
        slots=found.slots,
        more=found.more,
        find=asked["find"],
        files=lists.files("registers.people_file", asked),
        may_change=sessions.signed_in().is_a("lead"),
        names=names(),
        now=_now_text(),
    )


@blueprint.get("/desk/people.<any(csv, json):form>")
def people_file(form: str) -> Response:
    """The people whom the page shows, as a table or as JSON; no secret is in it."""
    found, called = _found_people(), names()
    rows = [
        {
            "person": one["id"],
            "name": one["name"],
            "roles": " ".join(one["roles"]),
            "may_set_up": "; ".join(_right(right, called) for right in found.given.get(one["id"], [])),
            "slots": "; ".join(found.slots.get(one["id"], [])),
            "in_use": "yes" if one["active"] else "no",
            "first_secrets": "yes" if one["must_change"] else "no",
        }
        for one in found.people
    ]
    return lists.handed_out("people", form, PEOPLE_COLUMNS, rows, _people_asked())


PEOPLE_COLUMNS = ("person", "name", "roles", "may_set_up", "slots", "in_use", "first_secrets")


def _right(right: AuthorisationRow, called: Mapping[str, str]) -> str:
    machine = called.get(right["machine"], right["machine"])
    return f"{machine} until {shop_moment(right['until_utc'])}" if right["until_utc"] else machine


def _people_asked() -> dict[str, str]:
    return {name: request.args.get(name, "").strip()[:LONGEST_FIND] for name in ("find", "after")}


def _found_people() -> reading.Everybody:
    return reading.everybody(wiring().store, **_people_asked())


@blueprint.get("/desk/machines")
def machines() -> str:
    """Machines, fixtures and probes with their measures, and for each axis the usual with its two lines."""
    parts = wiring()
    compiled = preparing.current_sheets(parts.store, parts.now())
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
