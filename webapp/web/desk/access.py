"""Signing in and out, and a person's own secrets.

Rules: OWASP ASVS 5.0, chapter 6: the answer to a wrong name and to a wrong passphrase is the same; secrets
are real inputs, so that password managers and paste work (also WCAG 2.2, 3.3.8); a person changes the first
secrets before anything else opens. Growing delays and their limits are the use case's.
"""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from webapp.domain.plain.errors import DomainError
from webapp.services.people import access
from webapp.services.shop import reading
from webapp.web.desk import forms
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show.shown_values import plain

blueprint = Blueprint("access", __name__)


@blueprint.route("/sign-in", methods=["GET", "POST"])
def sign_in() -> AnyResponse:
    """The sign-in page; a passphrase that fits starts a new session."""
    form = forms.SignIn()
    if not form.validate_on_submit():
        return _sign_in_page(form, 200 if request.method == "GET" else 422)
    parts = wiring()
    token = parts.new_token()
    person = (form.person.data or "").strip()
    try:
        session = access.sign_in(
            parts.store,
            person,
            form.passphrase.data,
            parts.now(),
            token,
            sessions.source(),
        )
    except DomainError as refusal:
        form.refuse(None, plain(refusal.code, refusal.fields))
        return _sign_in_page(form, 403)
    before = sessions.token()
    if before:
        access.sign_out(parts.store, before, parts.now())
    first = "desk.queue" if "lead" in session["roles"] else "desk.setups"
    return sessions.begin(_to(_own_page(request.args.get("to"), first)), token)


def _sign_in_page(form: forms.SignIn, status: int) -> Response:
    return make_response(render_template("desk/sign_in.html", form=form, to=request.args.get("to")), status)


@blueprint.post("/sign-out")
def sign_out() -> AnyResponse:
    """End the session here and on the server."""
    token = sessions.token()
    if token:
        access.sign_out(wiring().store, token, wiring().now())
    return sessions.end(_to(url_for("board.machines")))


@blueprint.get("/me")
def me() -> Response:
    """A person's own page: roles, and forms for the passphrase and the PIN."""
    return _me_page(forms.ChangePassphrase(formdata=None), forms.ChangePin(formdata=None), 200)


@blueprint.post("/me/passphrase")
def change_passphrase() -> AnyResponse:
    """Set a new passphrase. All sessions end, this one too, and a new one starts by signing in."""
    form = forms.ChangePassphrase()
    parts, who = wiring(), sessions.signed_in()
    if form.validate():
        try:
            access.change_passphrase(
                parts.store,
                who.id,
                form.current.data,
                form.new_passphrase.data,
                parts.now(),
                sessions.source(),
            )
            return sessions.end(_to(url_for("access.sign_in", changed="passphrase")))
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
    return _me_page(form, forms.ChangePin(formdata=None), 422)


@blueprint.post("/me/pin")
def change_pin() -> AnyResponse:
    """Set a new PIN for signing at a tablet."""
    form = forms.ChangePin()
    parts, who = wiring(), sessions.signed_in()
    if form.validate():
        try:
            access.change_pin(
                parts.store,
                parts.keyring,
                who.id,
                form.passphrase.data,
                form.new_pin.data,
                parts.now(),
                sessions.source(),
            )
            return _to(url_for("access.me", changed="pin"))
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
    return _me_page(forms.ChangePassphrase(formdata=None), form, 422)


@blueprint.post("/me/own")
def choose_own() -> AnyResponse:
    """Choose passphrase and PIN of one's own at the first sign-in: one form, and the desk is open."""
    form, parts, who = forms.ChooseOwn(), wiring(), sessions.signed_in()
    if form.validate():
        own, token = (form.new_passphrase.data, form.new_pin.data), parts.new_token()
        try:
            access.choose_own(
                parts.store, parts.keyring, who.id, form.current.data, *own, parts.now(), sessions.source()
            )
            access.sign_in(parts.store, who.id, own[0], parts.now(), token, sessions.source())
        except DomainError as refusal:
            form.refuse(_place_of(refusal.code), plain(refusal.code, refusal.fields))
        else:
            return sessions.begin(_to(url_for("access.me", changed="both")), token)
    fresh = forms.ChangePassphrase(formdata=None), forms.ChangePin(formdata=None)
    return _me_page(*fresh, 422, form)


def _place_of(code: str) -> str | None:
    """The field of the first form that a refusal is about."""
    if ".pin" in code:
        return "new_pin"
    return "new_passphrase" if "passphrase" in code else None


def _me_page(
    passphrase: forms.ChangePassphrase,
    pin: forms.ChangePin,
    status: int,
    own_secrets: forms.ChooseOwn | None = None,
) -> Response:
    parts, who = wiring(), sessions.signed_in()
    own = reading.own_page(parts.store, who.id)
    page = render_template(
        "desk/me.html",
        row=own.person,
        passphrase=passphrase,
        pin=pin,
        own_secrets=own_secrets or forms.ChooseOwn(formdata=None),
        changed=request.args.get("changed"),
        authorisations=own.authorisations,
        machines=own.machines,
    )
    return make_response(page, status)


def _to(address: str) -> Response:
    return make_response(redirect(address, 303))


def _own_page(address: str | None, first_page: str = "desk.setups") -> str:
    """An address of ours to go to after signing in; anything else leads to the person's first page."""
    first = url_for(first_page)
    if not address or not address.startswith("/") or address.startswith(("//", "/\\")):
        return first
    parts = urlsplit(address)
    return first if parts.scheme or parts.netloc or any(ord(letter) < 0x21 for letter in address) else address
