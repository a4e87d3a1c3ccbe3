"""The first start of a shop: a code, its name and first lead; then the way to a first setup.

Rules: the first page is open to whoever has the code that the server printed, as long as nobody has an
account; it needs a secure way as signing in does. After it the lead is signed in, and every step is the same
page by which it is changed later. What is done is worked out from what there is, so a set-up that was broken
off goes on where it stopped. Nothing typed is lost, secrets aside, and the page says so. The form that made
the lead, sent once more, leads to the same place: it signs that lead in, as signing in would.
"""

from __future__ import annotations

from typing import Any
from zoneinfo import available_timezones

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.shop import Machine, ShopRules
from webapp.domain.shop.typed_item import read_typed
from webapp.server import set_up_code
from webapp.services.errors import SetUpIsOver
from webapp.services.people import access
from webapp.services.shop import beginning, items, slots
from webapp.services.shop.beginning import FirstLead
from webapp.web.desk.last_days import end_of
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.shop_zone import shop_zone
from webapp.web.edge.wiring import wiring
from webapp.web.shop import set_up_forms
from webapp.web.show.shown_values import plain

blueprint = Blueprint("set_up", __name__)

FIELDS_OF_RULES = ("name", "lead", "time_zone")


@blueprint.route("/set-up", methods=["GET", "POST"])
@once
def begin() -> Response:
    """The code, the shop and its first lead; only while nobody has an account."""
    form = set_up_forms.Begin()
    if not beginning.is_open(wiring().store):
        return _sent_again(form) or make_response(redirect(url_for("access.sign_in"), 303))
    if request.method == "GET":
        return _begin_page(form, 200)
    return _begin(form) if form.validate() else _begin_page(form, 422)


def _begin(form: set_up_forms.Begin) -> Response:
    parts, folder = wiring(), wiring().settings.data_folder
    read = read_typed("shop", "", {name: form[f"shop_{name}"].data or "" for name in FIELDS_OF_RULES}, "mm")
    for name, finding in read.faults.items():
        form.refuse(f"shop_{name}", plain(finding.code, finding.fields))
    if not isinstance(read.item, ShopRules):
        return _begin_page(form, 422)
    lead = FirstLead(_person(form), form.person_name.data or "", form.new_passphrase.data, form.new_pin.data)
    try:
        beginning.begin_shop(
            parts.store, parts.keyring, read.item, lead,
            lambda: set_up_code.fits(folder, form.code.data or "", parts.now()), parts.now(),
            sessions.source(),
        )  # fmt: skip
        set_up_code.take_away(folder)
        return _signed_in(form)
    except SetUpIsOver as refusal:
        if again := _sent_again(form):
            return again
        form.refuse(None, plain(refusal.code, refusal.fields))
        return _begin_page(form, 409)
    except DomainError as refusal:
        form.refuse(set_up_forms.place_of(refusal), plain(refusal.code, refusal.fields))
        return _begin_page(form, 422)


def _sent_again(form: set_up_forms.Begin) -> Response | None:
    """The answer to the form that made the lead, sent once more; None for anybody else's."""
    if request.method == "GET" or not form.validate():
        return None
    known = sessions.known()
    if known is not None and known.id == _person(form):
        return make_response(redirect(url_for("set_up.guide"), 303))
    try:
        return _signed_in(form)
    except DomainError:
        return None


def _signed_in(form: set_up_forms.Begin) -> Response:
    """The way on, signed in as who stands in the form. Raises what signing in raises."""
    parts, token = wiring(), wiring().new_token()
    access.sign_in(
        parts.store, _person(form), form.new_passphrase.data, parts.now(), token, sessions.source()
    )
    return sessions.begin(make_response(redirect(url_for("set_up.guide"), 303)), token)


def _person(form: set_up_forms.Begin) -> str:
    return (form.person.data or "").strip().lower()


def _begin_page(form: set_up_forms.Begin, status: int) -> Response:
    zones = sorted(name for name in available_timezones() if "/" in name and not name.startswith("Etc/"))
    return make_response(render_template("desk/set_up.html", form=form, time_zones=["UTC", *zones]), status)


@blueprint.get("/desk/set-up")
def guide() -> Response:
    """What is done on the way to a first setup, and what comes next."""
    return _guide_page(set_up_forms.OwnSlot(formdata=None), 200)


@blueprint.post("/desk/set-up/slot")
@once
def own_slot() -> Response:
    """The lead's own slot on the first machine, and the right to set it up."""
    form, parts, who = set_up_forms.OwnSlot(), wiring(), sessions.signed_in()
    machine = beginning.missing(parts.store).machine
    if machine is None or not form.validate():
        return _guide_page(form, 422)
    try:
        until = end_of(form.until.data)
        slots.give_first_slot(parts.store, machine, form.slot.data or "", until, who.id, parts.now())
    except DomainError as refusal:
        form.refuse("slot", plain(refusal.code, refusal.fields))
        return _guide_page(form, 422)
    return make_response(redirect(url_for("set_up.guide", done="slot"), 303))


def _guide_page(form: set_up_forms.OwnSlot, status: int) -> Response:
    store = wiring().store
    found = beginning.missing(store)
    machine: Any = items.found(store, "machine", found.machine).item if found.machine else None
    shown: dict[str, Any] = {"steps": found.steps, "next": found.next, "machine": machine, "form": form}
    labels = machine.labels if isinstance(machine, Machine) else ()
    page = render_template(
        "desk/set_up_guide.html", **shown, labels=labels, done=request.args.get("done"), zone=shop_zone()
    )
    return make_response(page, status)
