"""People at the desk: letting in one or a class, and all that a lead changes about one of them.

Rules: first secrets are made by chance, shown once on the page that made them and never again; nobody chooses
or sees another's own. Who lets people in, changes roles or begins secrets anew types their own passphrase
once more. A last day counts whole, in the shop's zone. A refusal stands beside the form that was sent, with
all that was typed in it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, abort, make_response, redirect, render_template, request, url_for
from wtforms.fields.choices import SelectChoice

from webapp.domain.plain.errors import DomainError
from webapp.services.errors import ChangedMeanwhile, DayIsOver
from webapp.services.people import accounts, rights
from webapp.services.people import names as people_names
from webapp.services.people.errors import SignInRefused, StoppedAfterTries, TooManyTries
from webapp.services.shop import inviting, reading, slots
from webapp.services.shop.inviting import FirstSecrets, Rights
from webapp.services.shop.reading import PersonsPage
from webapp.web.desk.last_days import end_of, last_day
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.shop import people_forms
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain

if TYPE_CHECKING:
    from webapp.domain.shop.class_list import ClassList
    from webapp.web.desk.forms import DeskForm

blueprint = Blueprint("people", __name__)

FORMS: Mapping[str, type[DeskForm]] = {
    "roles": people_forms.Roles,
    "authorise": people_forms.Authorise,
    "change_right": people_forms.ChangeRight,
    "withdraw": people_forms.Withdraw,
    "give_slot": people_forms.GiveSlot,
    "extend_slot": people_forms.ExtendSlot,
    "end_slot": people_forms.OneSlot,
    "release_slot": people_forms.OneSlot,
    "secrets": people_forms.FreshSecrets,
    "disable": people_forms.Account,
    "enable": people_forms.Account,
    "erase_name": people_forms.EraseName,
}
# These stand in each row of a table.
IN_ROWS = {"change_right", "withdraw", "extend_slot", "end_slot", "release_slot"}
ACTION = f"<any({', '.join(FORMS)}):action>"


@blueprint.route("/desk/let-in", methods=["GET", "POST"])
@once
def new() -> Response:
    """Let one or many in: a look at the list first, then accounts for all of them with first secrets."""
    form, store = people_forms.LetIn(), wiring().store
    form.offer(reading.names_of_machines(store).items())
    if request.method == "GET":
        form.roles.data = ["operator"]
        return _new_page(form, None, 200)
    if request.form.get("do") == "look":
        form.passphrase.validators = []
    _take_file(form)
    valid = form.validate()
    found = inviting.read_list(store, form.people.data or "")
    for fault in found.faults if valid or not form.people.errors else ():
        form.people.errors = [*form.people.errors, plain(fault.code, fault.fields)]
    if not valid or found.faults:
        return _new_page(form, found, 422)
    if request.form.get("do") == "look":
        return _new_page(form, found, 200)
    return _let_in(form, found)


def _take_file(form: people_forms.LetIn) -> None:
    """Let the lines of a file stand in the field, where they can be read and changed before they are kept."""
    sent = form.file.data
    body = sent.read() if sent else b""
    if not body:
        return
    try:
        form.people.data = body.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        form.people.data = body.decode("latin-1").replace("\r\n", "\n")


def _let_in(form: people_forms.LetIn, found: ClassList) -> Response:
    try:
        _own_passphrase(form)
        made = _accounts(form, found)
    except DomainError as refusal:
        _refuse(form, refusal)
        return _new_page(form, found, 422)
    return _secrets_page(made)


def _accounts(form: people_forms.LetIn, found: ClassList) -> list[dict[str, Any]]:
    """Open an account for each; names with first secrets, to be shown once."""
    store, keyring = wiring().store, wiring().keyring
    secrets = {one.id: _first_secrets() for one in found.people}
    until, training = end_of(form.until.data), form.training.data or ""
    rights = Rights(form.roles.data or [], form.machines.data or [], until, form.level.data, training)
    inviting.let_in(store, keyring, found.people, secrets, rights, *_by_now())
    return [{"id": one.id, "name": one.name, "secrets": secrets[one.id]} for one in found.people]


def _new_page(form: people_forms.LetIn, found: ClassList | None, status: int) -> Response:
    shown = found.people if found and not found.faults else ()
    page = render_template("desk/people_new.html", form=form, found=shown, may=people_forms.WHAT_ROLES_MAY)
    return make_response(page, status)


def _secrets_page(made: list[dict[str, Any]]) -> Response:
    answer = make_response(render_template("desk/first_secrets.html", made=made))
    answer.headers["Cache-Control"] = "no-store"
    return answer


@blueprint.get("/desk/people/<person>")
def person(person: str) -> Response:
    """One person: account, roles, what they may set up, their slots."""
    return _person_page(reading.persons_page(wiring().store, person), {}, 200)


@blueprint.post(f"/desk/people/<person>/{ACTION}")
@once
def change(person: str, action: str) -> Response:
    """Change one thing about a person."""
    about, form = reading.persons_page(wiring().store, person), _form(action)
    _offer(form, about)
    if form.validate():
        try:
            said = CHANGES[action](about, form)
        except DomainError as refusal:
            about = reading.persons_page(wiring().store, person)
            _refuse(form, refusal)
        else:
            return said or make_response(redirect(url_for("people.person", person=person, done=action), 303))
    return _person_page(about, {action: form}, 422)


def _person_page(about: PersonsPage, sent: Mapping[str, DeskForm], status: int) -> Response:
    shown = {name: sent.get(name) or _fresh(name, about) for name in FORMS}
    page = render_template(
        "desk/person.html",
        about=about,
        forms_=shown,
        sent=next(iter(sent), None),
        about_row=request.form.get("slot") or request.form.get("machine"),
        may=people_forms.WHAT_ROLES_MAY,
        levels=people_forms.LEVEL_WORDS,
        last_day=last_day,
        done=request.args.get("done"),
        names=names(),
        now=wiring().now().strftime("%Y-%m-%dT%H:%M:%S.000Z"),
        is_lead=sessions.signed_in().is_a("lead"),
    )
    return make_response(page, status)


def _form(action: str, **more: Any) -> DeskForm:
    """A form of this page. Those that stand once have a prefix, so that no two fields have one id."""
    return FORMS[action](prefix="" if action in IN_ROWS else f"{action}-", **more)


def _fresh(action: str, about: PersonsPage) -> DeskForm:
    form = _form(action, formdata=None, data={"roles": about.person["roles"]})
    _offer(form, about)
    return form


def _offer(form: DeskForm, about: PersonsPage) -> None:
    if isinstance(form, people_forms.Authorise):
        there = {one["machine"] for one in about.authorisations} - {form.machine.data}
        form.machine.choices = [
            SelectChoice(key, name) for key, name in about.machines.items() if key not in there
        ]
    if isinstance(form, people_forms.GiveSlot):
        form.slot.choices = [
            SelectChoice(f"{machine} {label}", f"{label} on {about.machines[machine]}")
            for machine, label in about.free
        ]


# What each form does: each returns a page to show in place of the person's own, or None.


def _change_roles(about: PersonsPage, form: Any) -> None:
    _own_passphrase(form)
    accounts.change_roles(*_store_and(about), form.roles.data, *_by_now(), seen=_seen())


def _authorise(about: PersonsPage, form: Any) -> None:
    if _ends(about, form):
        raise ChangedMeanwhile  # the page offers no machine that they may set up already
    _set_right(about, form)


def _set_right(about: PersonsPage, form: Any) -> None:
    until = end_of(form.until.data, *_ends(about, form))
    noted = form.level.data, form.training.data or ""
    rights.authorise(*_store_and(about), form.machine.data, until, *_by_now(), *noted, seen=_seen())


def _ends(about: PersonsPage, form: Any) -> list[str | None]:
    """When the rights to the form's machine end that stand."""
    return [one["until_utc"] for one in about.authorisations if one["machine"] == form.machine.data]


def _withdraw(about: PersonsPage, form: Any) -> None:
    rights.withdraw(*_store_and(about), form.machine.data or "", form.reason.data, *_by_now(), seen=_seen())


def _give_slot(about: PersonsPage, form: Any) -> None:
    machine, label = _slot(form)
    own = [one["until_utc"] for one in about.slots if (one["machine"], one["label"]) == (machine, label)]
    until = end_of(form.until.data, *own)
    slots.give_slot(wiring().store, machine, label, about.person["id"], until, *_by_now(), _seen())


def _end_slot(_: PersonsPage, form: Any) -> None:
    slots.end_slot(wiring().store, *_slot(form), *_by_now(), _seen())


def _release_slot(_: PersonsPage, form: Any) -> None:
    slots.release(wiring().store, *_slot(form), *_by_now(), _seen())


def _begin_secrets_anew(about: PersonsPage, form: Any) -> Response:
    parts, secrets = wiring(), _first_secrets()
    _own_passphrase(form)
    inviting.begin_anew(parts.store, parts.keyring, about.person["id"], secrets, *_by_now())
    return _secrets_page([{"id": about.person["id"], "name": about.person["name"], "secrets": secrets}])


def _disable(about: PersonsPage, form: Any) -> None:
    accounts.disable_person(*_store_and(about), form.reason.data, *_by_now(), seen=_seen())


def _erase_name(about: PersonsPage, form: Any) -> None:
    _own_passphrase(form)
    people_names.erase(*_store_and(about), *_by_now())


def _enable(about: PersonsPage, form: Any) -> None:
    accounts.enable_person(*_store_and(about), form.reason.data, *_by_now(), seen=_seen())


CHANGES: Mapping[str, Callable[[PersonsPage, Any], Response | None]] = {
    "roles": _change_roles,
    "authorise": _authorise,
    "change_right": _set_right,
    "withdraw": _withdraw,
    "give_slot": _give_slot,
    "extend_slot": _give_slot,
    "end_slot": _end_slot,
    "release_slot": _release_slot,
    "secrets": _begin_secrets_anew,
    "disable": _disable,
    "enable": _enable,
    "erase_name": _erase_name,
}


def _store_and(about: PersonsPage) -> tuple[Any, str]:
    return wiring().store, about.person["id"]


def _seen() -> str | None:
    """The version of the person, or of the slot, that stood on the page; None for a form without one."""
    return request.form.get("seen") or None


def _by_now() -> tuple[str, Any]:
    return sessions.signed_in().id, wiring().now()


def _slot(form: Any) -> tuple[str, str]:
    machine, _, label = str(form.slot.data or "").partition(" ")
    if not label:
        abort(400)
    return machine, label


def _first_secrets() -> FirstSecrets:
    made = wiring().first_secret
    return FirstSecrets(made("passphrase"), made("pin"))


def _own_passphrase(form: Any) -> None:
    parts, who = wiring(), sessions.signed_in()
    typed = form.passphrase.data or ""
    inviting.must_be_the_leads_own(parts.store, who.id, typed, parts.now(), sessions.source())


def _refuse(form: DeskForm, refusal: DomainError) -> None:
    about_passphrase = isinstance(refusal, SignInRefused | TooManyTries | StoppedAfterTries)
    if isinstance(refusal, SignInRefused):
        form.refuse("passphrase", "It is not your passphrase. Type it once more.")
    elif isinstance(refusal, DayIsOver):
        form.refuse("until", plain(refusal.code, refusal.fields))
    else:
        form.refuse("passphrase" if about_passphrase else None, plain(refusal.code, refusal.fields))
