"""One slot of the register and many at once: given, extended, ended, set free, kept for the shop.

Rules: what is pressed counts for the row that stood on the page; where somebody else changed it meanwhile
nothing is stored and it is said whose it is now. Many at once are shown before they are carried out, exactly
so or not at all. An ended slot keeps its last values on its page until they are copied out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.plain.errors import DomainError
from webapp.services.shop import reading, slot_terms, slots
from webapp.services.shop.reading import OneSlot
from webapp.services.shop.slot_terms import Asked, Plan
from webapp.web.desk.last_days import end_of, last_day
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.shop import people_forms, slot_forms
from webapp.web.show import shown_values
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

blueprint = Blueprint("slots", __name__)

ACTIONS = "<any(give, extend, end, release, keep, free):action>"


@blueprint.get("/desk/slots/<machine>/<path:label>")
def slot(machine: str, label: str) -> Response:
    """One slot: whose, until when, its last values, and for a lead what can be done with it."""
    return _page(machine, label, None, 200)


@blueprint.post(f"/desk/slots/<machine>/<path:label>/{ACTIONS}")
@once
def change(machine: str, label: str, action: str) -> Response:
    """Do one thing with the slot that stood on the page."""
    form = slot_forms.OneSlot()
    if form.validate():
        try:
            CHANGES[action](machine, label, form)
        except DomainError as refusal:
            place = "until" if refusal.code == "services.day_is_over" else None
            form.refuse(place, plain(refusal.code, refusal.fields))
        else:
            return _to(url_for("slots.slot", machine=machine, label=label, done=action))
    return _page(machine, label, form, 422)


def _page(machine: str, label: str, form: slot_forms.OneSlot | None, status: int) -> Response:
    found = reading.one_slot(wiring().store, machine, label, wiring().now())
    page = render_template(
        "desk/slot.html",
        found=found,
        lengths=shown_values.Lengths(found.machine.display),
        form=form or slot_forms.OneSlot(formdata=None, data={"until": last_day(_until(found))}),
        done=request.args.get("done") if request.method == "GET" else None,
        people=reading.people_to_choose_from(wiring().store),
        names=names(),
        now=_now_text(),
    )
    return make_response(page, status)


def _until(found: OneSlot) -> str | None:
    return found.stored["until_utc"] if found.stored else None


def _give(machine: str, label: str, form: Any) -> None:
    person = (form.person.data or "").strip()
    stands = _until(reading.one_slot(wiring().store, machine, label, wiring().now()))
    until, by = end_of(form.until.data, stands), (sessions.signed_in().id, wiring().now())
    slots.give_slot(wiring().store, machine, label, person, until, *by, form.seen.data)


def _other(what: Callable[..., None]) -> Callable[[str, str, Any], None]:
    def do(machine: str, label: str, form: Any) -> None:
        what(wiring().store, machine, label, sessions.signed_in().id, wiring().now(), form.seen.data)

    return do


CHANGES: Mapping[str, Callable[[str, str, Any], None]] = {
    "give": _give,
    "extend": _give,
    "end": _other(slots.end_slot),
    "release": _other(slots.release),
    "keep": _other(slots.keep_slot),
    "free": _other(slots.free_kept_slot),
}


@blueprint.route("/desk/slots/term", methods=["GET", "POST"])
@once
def term() -> Response:
    """Many slots at once: looked at first, then carried out as they were looked at."""
    form, store = slot_forms.Term(), wiring().store
    form.offer(reading.names_of_machines(store))
    if request.method == "GET":
        return _term_page(form, None, 200)
    if not form.validate():
        return _term_page(form, None, 422)
    try:
        asked = _asked(form)
        planned = slot_terms.plan(store, asked)
        if request.form.get("do") == "keep" and not planned.faults:
            who, now = sessions.signed_in(), wiring().now()
            count = slot_terms.carry_out(store, asked, request.form.get("seen", ""), who.id, now)
            return _to(url_for("registers.slots", done=count))
    except DomainError as refusal:
        place = "until" if refusal.code == "services.day_is_over" else None
        form.refuse(place, plain(refusal.code, refusal.fields))
        return _term_page(form, None, 422)
    for fault in planned.faults:
        form.refuse(None, plain(fault.code, fault.fields))
    return _term_page(form, None if planned.faults else planned, 422 if planned.faults else 200)


def _asked(form: slot_forms.Term) -> Asked:
    return Asked(
        what=form.what.data,
        slots=slot_terms.chosen(request.form.getlist("slot")),
        machine=form.machine.data or "",
        people=tuple((form.people.data or "").replace(",", " ").lower().split()),
        until_utc=end_of(form.until.data),
        authorise=bool(form.authorise.data),
        level=form.level.data or None,
    )


def _term_page(form: slot_forms.Term, planned: Plan | None, status: int) -> Response:
    page = render_template(
        "desk/slots_term.html",
        form=form,
        planned=planned,
        chosen=set(request.form.getlist("slot")),
        registers=reading.owned_slots(wiring().store),
        levels=people_forms.LEVEL_WORDS,
        names=names(),
        now=_now_text(),
    )
    return make_response(page, status)


def _to(address: str) -> Response:
    return make_response(redirect(address, 303))


def _now_text() -> str:
    return wiring().now().strftime("%Y-%m-%dT%H:%M:%S.000Z")
