"""The lead's decisions: sign off, sign a list, not accept, answer a question, seal again.

Rules: each decision shows what it is about before it is sent (WCAG 2.2, 3.3.4). A sign-off and its refusal
are signatures and ask for the passphrase again, whatever the session says (OWASP ASVS 5.0, 7.5.3; 21 CFR
11.200(a)); an answer to a question signs nothing and is given in the session, as its page says. A decision
about a setup carries the fingerprint of what its page showed, and is refused when the setup is another by
then; a refusal of the use case comes back into the form with all that was typed, the passphrase aside.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from flask import Blueprint, Response, current_app, make_response, redirect, render_template, request, url_for
from werkzeug.exceptions import NotFound

from webapp.domain.plain.errors import DomainError
from webapp.services.decisions import adding, signing_off
from webapp.services.decisions.errors import SetupChanged
from webapp.services.decisions.joining import NewSeating, ValuesChoice
from webapp.services.errors import LedgerWentBack, ServiceError
from webapp.services.numbers import seatings
from webapp.services.setups import answering, recording
from webapp.web.desk import forms
from webapp.web.desk.on_one_page import opened_before, setup_page
from webapp.web.desk.opened import must_see, opened
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show import rendering
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain, with_reasons

if TYPE_CHECKING:
    from webapp.services.decisions.signing_off import QueuedSetup

blueprint = Blueprint("deciding", __name__)


@blueprint.route("/desk/setups/<uuid:setup_id>/sign-off", methods=["GET", "POST"])
@once
def sign_off(setup_id: object) -> Response:
    """Review, then sign off with the passphrase.
    The record is sealed at once; if that fails, the sign-off stays.
    """
    form, parts, who = forms.SignOff(), wiring(), sessions.signed_in()
    identifier = str(setup_id)
    must_see(identifier)
    stake = signing_off.values_at_stake(parts.store, identifier)
    form.offer([one.axis for one in stake.standing_as("beyond")])
    if request.method == "POST" and form.validate():
        try:
            signing_off.sign_off(
                parts.store,
                identifier,
                who.id,
                form.passphrase.data,
                (form.note.data or "").strip(),
                parts.now(),
                sessions.source(),
                seen=form.seen.data or "",
                values=_values_choice(form, identifier),
            )
        except DomainError as refusal:
            _refuse(form, refusal)
        else:
            return _to_setup(identifier, _sealed(identifier))
    return setup_page(identifier, sign=form if request.method == "POST" else None)


@blueprint.route("/desk/sign-together", methods=["GET", "POST"])
@once
def sign_together() -> Response:
    """Sign the list that the page shows by one entry of the passphrase: plain setups, each opened before."""
    form, parts, before = forms.SignTogether(), wiring(), opened_before()
    listed = tuple(one for one in signing_off.queue(parts.store) if _is_to_be_signed(one, before))
    read = [(one["id"], before[one["id"]]) for one in listed]
    shown = [(one.partition(":")[0], one.partition(":")[2]) for one in request.form.getlist("one")]
    if request.method == "POST" and form.validate():
        opened_as_shown = [one for one in before.items() if one in shown]
        if not opened_as_shown:
            form.refuse(None, plain("services.setup_changed" if shown else "web.nothing_ticked"))
        else:
            try:
                changed = [setup for setup, seen in shown if before.get(setup, seen) != seen]
                return _signed_together(opened_as_shown, changed, form.passphrase.data)
            except DomainError as refusal:
                form.refuse(None, plain(refusal.code, refusal.fields))
    # What was not ticked comes back so: a refusal asks for nothing but another entry of the passphrase.
    ticked = read if request.method == "GET" else shown
    boxes = {"read": dict(read), "ticked": [one for one, seen in read if (one, seen) in ticked]}
    return _page("desk/sign_together.html", form, listed=listed, came=(), **boxes)


def _is_to_be_signed(one: QueuedSetup, before: Mapping[str, str]) -> bool:
    return one["plain"] and one["id"] in before and one["person"] != sessions.signed_in().id


class ToldOutcome(NamedTuple):
    """What came of one setup of a list, as its page says it: why it is not signed off, or whether its record
    is sealed.
    """

    setup: str
    about: str
    why_not: str
    sealed: bool


def _signed_together(read: list[tuple[str, str]], changed: list[str], passphrase: str) -> Response:
    """Sign each, seal each, and say of every one what came of it. `changed`: those that were shown otherwise
    than they were opened last, which are not signed.
    """
    parts, who = wiring(), sessions.signed_in()
    about = {
        one["id"]: f"{one['person_name']}, {one['machine_name']}" for one in signing_off.queue(parts.store)
    }
    came = signing_off.sign_off_together(
        parts.store, read, who.id, passphrase, parts.now(), sessions.source()
    )
    refused = {one: SetupChanged() for one in changed} | {one.setup: one.refused for one in came}
    told = [
        ToldOutcome(
            setup,
            about.get(setup, setup[:8]),
            _refused_because(why) if why else "",
            why is None and _sealed(setup) == "sealed",
        )
        for setup, why in refused.items()
    ]
    page = render_template(
        "desk/sign_together.html", form=forms.SignTogether(formdata=None), listed=(), came=told
    )
    return make_response(page, 422 if any(refused.values()) else 200)


def _refused_because(why: DomainError) -> str:
    """Why a setup was not signed off; whoever decided before by their name."""
    if "by" not in why.fields:
        return with_reasons(why)
    return plain(why.code, {**why.fields, "by": names().get(str(why.fields["by"]), why.fields["by"])})


def _values_choice(form: forms.SignOff, setup_id: str) -> ValuesChoice:
    """What the lead chose about the values. A new seating takes its id from its fixture, now and chance."""
    parts, new = wiring(), None
    if form.moved.data:
        fixture = signing_off.fixture_of(parts.store, setup_id)
        new = NewSeating(
            seatings.seating_id(fixture, parts.now(), parts.new_token()),
            (form.moved_reason.data or "").strip(),
        )
    return ValuesChoice(frozenset(form.let_in.data or ()), form.first_values.data != "leave", new)


@blueprint.route("/desk/setups/<uuid:setup_id>/not-accepted", methods=["GET", "POST"])
@once
def not_accept(setup_id: object) -> Response:
    """Do not accept a setup, with the reason and the passphrase."""
    form, parts, who = forms.NotAccept(), wiring(), sessions.signed_in()
    identifier = str(setup_id)
    if request.method == "POST" and form.validate():
        try:
            signing_off.not_accept(
                parts.store,
                identifier,
                who.id,
                form.passphrase.data,
                (form.reason.data or "").strip(),
                parts.now(),
                sessions.source(),
                seen=form.seen.data or "",
            )
        except DomainError as refusal:
            _refuse(form, refusal)
        else:
            return _to_setup(identifier, "not_accepted")
    return setup_page(identifier, refuse=form if request.method == "POST" else None)


@blueprint.post("/desk/setups/<uuid:setup_id>/seal")
def seal(setup_id: object) -> Response:
    """Try once more to seal the record of a setup that is signed off."""
    return _to_setup(str(setup_id), _sealed(str(setup_id)))


@blueprint.route("/desk/setups/<uuid:setup_id>/add", methods=["GET", "POST"])
@once
def add(setup_id: object) -> Response:
    """Add to a sealed record what was found afterwards, with the passphrase."""
    form, parts, who = forms.AddToRecord(), wiring(), sessions.signed_in()
    identifier = str(setup_id)
    if request.method == "POST" and form.validate():
        try:
            adding.add(
                *(parts.store, identifier, who.id, form.passphrase.data, form.text.data or ""),
                *(parts.now(), sessions.source()),
            )
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
        else:
            return _to_setup(identifier, "added")
    return _page("desk/add.html", form, **opened(identifier))


@blueprint.get("/desk/setups/<uuid:setup_id>/additions/<int(max=9999):number>.txt")
def addition(setup_id: object, number: int) -> Response:
    """One addition as its entry and the proof of it under a signed head. Raises LedgerWentBack."""
    parts = wiring()
    text = adding.proven(parts.store, parts.keyring.head_signer, str(setup_id), number)
    if text is None:
        raise NotFound
    answer = make_response(text)
    answer.headers["Content-Type"] = "text/plain; charset=utf-8"
    name = f"setup-{setup_id}-addition-{number}.txt"
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@blueprint.route("/desk/questions/<uuid:question_id>", methods=["GET", "POST"])
@once
def question(question_id: object) -> Response:
    """One question with the arithmetic beside it, and the form that answers it."""
    form, parts, who = forms.Answer(), wiring(), sessions.signed_in()
    asked = answering.question(parts.store, str(question_id))
    if asked is None:
        raise NotFound
    about = opened(asked["setup"])
    status = about["row"]["status"]
    form.offer(
        answering.decisions_for(asked["axis"], status),
        about_axis=asked["axis"] is not None,
        finished=status != answering.RUNNING,
    )
    if request.method == "POST" and form.validate():
        try:
            answering.answer(
                parts.store,
                asked["id"],
                who.id,
                form.decision.data,
                (form.reason.data or "").strip(),
                parts.now(),
            )
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
        else:
            if request.args.get("from") == "setup":
                return _to_setup(asked["setup"], "answered")
            return _see_other(url_for("desk.queue", done="answered"))
    about["touches"] = [one for one in about["touches"] if asked["axis"] in {None, one["axis"]}]
    asked_about = answering.touch_asked_about(asked, about["touches"])
    return _page("desk/question.html", form, asked=asked, asked_about=asked_about, **about)


def _sealed(setup_id: str) -> str:
    """Render and seal; what was done. A failure is logged, leaves the sign-off as it is and can be tried
    again. So does a ledger that went back: the sign-off is committed by then.
    """
    parts = wiring()
    try:
        with rendering.one_at_a_time():
            recording.sealed_pdf(
                parts.store,
                setup_id,
                parts.render,
                parts.seal,
                parts.keyring.head_signer,
                parts.now(),
                parts.renderer,
            )
    except LedgerWentBack:
        current_app.logger.exception("record of %s not sealed", setup_id)
        return "went_back"
    except ServiceError:
        raise
    except Exception:
        current_app.logger.exception("record of %s not sealed", setup_id)
        return "not_sealed"
    return "sealed"


def _refuse(form: forms.SignOff | forms.NotAccept, refusal: DomainError) -> None:
    """Put a refusal above the form.
    One for a setup that changed makes the page that comes the one to be read.
    """
    form.refuse(None, plain(refusal.code, refusal.fields))
    if isinstance(refusal, SetupChanged):
        form.seen.data = None


def _page(template: str, form: forms.DeskForm, **about: Any) -> Response:
    status = 422 if request.method == "POST" else 200
    return make_response(render_template(template, form=form, **{"names": names(), **about}), status)


def _to_setup(setup_id: str, done: str) -> Response:
    return _see_other(url_for("desk.setup", setup_id=setup_id, done=done))


def _see_other(address: str) -> Response:
    return make_response(redirect(address, 303))
