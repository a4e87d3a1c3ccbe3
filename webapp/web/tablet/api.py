"""The calls of a tablet. JSON in, JSON out; every refusal is {"code","fields"}.

Rules: what may be sent at all is guards.py's (own header, JSON, same origin, size); whether it is whole is
checked here, before anything is stored (RFC 8259, strict: no repeated names, no NaN); what it means is the
use cases'. A device is known by its signature, never by a cookie. Strangers are counted by their address and
held back (strangers.py); a tablet in use never is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

from flask import Blueprint, Response, g, json, request
from pydantic import Field
from typing_extensions import TypedDict
from werkzeug.exceptions import TooManyRequests

from webapp.domain.plain.declared import Fault, Shape, exactly
from webapp.domain.plain.json_strict import JsonError, read_json
from webapp.proof.certificates.tls_certificate import its_days
from webapp.proof.keys.encoding import to_base64url
from webapp.services.evidence import epochs, signed_heads, succession
from webapp.services.intake import (
    coming_back,
    enrolling,
    intake,
    picture_asked,
    pictures,
    tablets_in_use,
)
from webapp.services.intake.errors import BatchMalformed, BatchTooLong
from webapp.services.intake.reading import read_batch
from webapp.services.shop import step_pictures
from webapp.web.edge import request_sizes
from webapp.web.edge.errors import api_error
from webapp.web.edge.wiring import wiring
from webapp.web.tablet import signed_answers

if TYPE_CHECKING:
    from webapp.store import Store

blueprint = Blueprint("api", __name__, url_prefix="/api")

TURNED_DOWN = frozenset({400, 403, 409, 413, 415, 422})
MOST_ENTRIES = 10**15
T = TypeVar("T")


@exactly
class ReachCall(TypedDict):
    """Is this server there? `nonce` is the tablet's own chance."""

    nonce: str


@exactly
class EnrolCall(TypedDict):
    """A tablet that wants to be taken into use."""

    code: str
    name: str
    jwk: dict[str, object]
    display: str
    proof: str


@exactly
class EventsCall(TypedDict):
    """An upload; its parts are looked at by the use case."""

    events: list[object]


@exactly
class NewsCall(TypedDict):
    """A question of a tablet in use, signed by it."""

    request: str


@exactly
class KeysCall(TypedDict):
    """How the receipt key of now follows from earlier ones, please."""


@exactly
class SheetCall(TypedDict):
    """A sheet that the server may have lost, with the tag that came with it."""

    text: str
    tag: str


@exactly
class HeadCall(TypedDict):
    """The ledger's head of now, please, and that it grew from its first `since` entries."""

    nonce: str
    since: Annotated[int, Field(ge=0, le=MOST_ENTRIES)]


REACH: Shape[ReachCall] = Shape(ReachCall)
ENROL: Shape[EnrolCall] = Shape(EnrolCall)
EVENTS: Shape[EventsCall] = Shape(EventsCall)
NEWS: Shape[NewsCall] = Shape(NewsCall)
HEAD: Shape[HeadCall] = Shape(HeadCall)
KEYS: Shape[KeysCall] = Shape(KeysCall)
SHEET: Shape[SheetCall] = Shape(SheetCall)


class Unreadable(Exception):
    """The body is not whole JSON of the agreed shape."""

    def __init__(self, field: str) -> None:
        super().__init__(field)
        self.field = field


@blueprint.errorhandler(Unreadable)
def unreadable(error: Unreadable) -> Response:
    """Say which field it was; nothing was stored."""
    return api_error(400, "web.unreadable", {"field": error.field})


@blueprint.before_request
def hold_strangers_back() -> None:
    """Answer 429 to an address that had its share, unless a tablet in use speaks. Raises TooManyRequests."""
    parts = wiring()
    seconds = parts.strangers.wait_seconds(_address(), parts.now())
    if seconds and not _may_pass():
        raise TooManyRequests(retry_after=seconds)


@blueprint.after_request
def count_strangers(answer: Response) -> Response:
    """Count a call that no tablet in use has signed: one that says so, or one that was turned down."""
    known = g.get("sender_known")
    turned_down = answer.status_code in TURNED_DOWN
    if known is False or (known is None and turned_down):
        wiring().strangers.count(_address(), wiring().now())
    return answer


def _may_pass() -> bool:
    """Whether a call from an address over its count is answered all the same."""
    endpoint = request.endpoint or ""
    if endpoint == "api.photo":
        event = str((request.view_args or {}).get("event"))
        return pictures.is_named(wiring().store, event, request.get_data(cache=True))
    if endpoint not in SPOKEN_FOR:
        return False
    try:
        body = read_json(request.get_data(cache=True), request_sizes.largest_body(endpoint))
        return SPOKEN_FOR[endpoint](wiring().store, body)
    except (JsonError, KeyError, TypeError, AttributeError):
        return False


def _signed_events(store: Store, body: dict[str, Any]) -> bool:
    return tablets_in_use.is_known(store, (entry["jws"] for entry in body["events"]))


def _signed_request(store: Store, body: dict[str, Any]) -> bool:
    return tablets_in_use.is_known(store, [body["request"]], enrolling.REQUEST_TYPE)


def _signed_picture_request(store: Store, body: dict[str, Any]) -> bool:
    return tablets_in_use.is_known(store, [body["request"]], picture_asked.REQUEST_TYPE)


def _asks_whether_reached(_: Store, body: dict[str, Any]) -> bool:
    return bool(signed_answers.NONCE.fullmatch(body["nonce"]))


# What lets a call of an address over its count through. Enrolling has nothing: it waits.
SPOKEN_FOR: Mapping[str, Callable[[Store, dict[str, Any]], bool]] = {
    "api.events": _signed_events,
    "api.news": _signed_request,
    "api.step_picture": _signed_picture_request,
    "api.reach": _asks_whether_reached,
    "api.head": _asks_whether_reached,
}


def _address() -> str:
    return request.remote_addr or "?"


@blueprint.post("/reach")
def reach() -> Response:
    """Prove that this server was reached just now."""
    body = _body(REACH)
    parts = wiring()
    epoch = epochs.newest(parts.store)
    days = its_days(parts.settings.tls_certificate)
    answer = signed_answers.reach(parts.keyring, body["nonce"], parts.shell.version, parts.now(), epoch, days)
    return _json(answer)


@blueprint.post("/keys")
def keys() -> Response:
    """The statements that lead from a receipt key that a tablet knows to the one of now."""
    _body(KEYS)
    return _json({"statements": succession.all_statements(wiring().store)})


@blueprint.post("/sheet")
def sheet() -> Response:
    """Take back a sheet that this server handed out and has lost; whether it is one."""
    body, parts = _body(SHEET), wiring()
    taken = coming_back.take_sheet(parts.store, parts.keyring, body["text"], body["tag"], parts.now())
    g.sender_known = taken
    return _json({"taken": taken})


@blueprint.post("/head")
def head() -> Response:
    """A signed head of the ledger and the proof that it only grew from an earlier size."""
    body, parts = _body(HEAD), wiring()
    found = signed_heads.head_since(parts.store, parts.keyring.head_signer, body["since"])
    return _json(signed_answers.ledger_head(parts.keyring, body["nonce"], found, parts.now()))


@blueprint.post("/enrol")
def enrol() -> Response:
    """Take a tablet into use with a one-time code."""
    body = _body(ENROL)
    parts = wiring()
    return _json(
        enrolling.enrol(
            parts.store,
            parts.keyring,
            body["code"],
            body["name"],
            body["jwk"],
            body["display"],
            body["proof"],
            parts.now(),
            request.remote_addr or "network",
        )
    )


@blueprint.post("/events")
def events() -> Response:
    """Take a batch of events; the receipts are signed and come after the commit."""
    body, parts = _body(EVENTS), wiring()
    try:
        batch = read_batch(body["events"])
    except (BatchMalformed, BatchTooLong):
        raise Unreadable("events") from None
    g.sender_known = tablets_in_use.is_known(parts.store, (part.jws for part in batch))
    receipts = intake.take_in(parts.store, parts.keyring, batch, parts.now(), _address())
    return _json({"receipts": signed_answers.receipts(parts.keyring, receipts, parts.now())})


@blueprint.post("/photos/<event>")
def photo(event: str) -> Response:
    """Take the file of a picture that a stored event names; the signed answer comes after the commit."""
    parts, data = wiring(), request.get_data(cache=True)
    g.sender_known = pictures.is_named(parts.store, event, data) or None
    told = pictures.take_picture(parts.store, event, data, parts.make_picture_again, parts.now())
    return _json({"receipt": signed_answers.picture(parts.keyring, told, parts.now())})


@blueprint.post("/step-picture")
def step_picture() -> Response:
    """A picture that a step shows, for a tablet in use that signs its request. It is told by its hash."""
    request_text, store = _body(NEWS)["request"], wiring().store
    digest = picture_asked.asked_for(store, request_text)
    g.sender_known = True
    return _json({"picture": to_base64url(step_pictures.picture(store, digest))})


@blueprint.post("/news")
def news() -> Response:
    """Sheets and decisions for an enrolled tablet that signs its request."""
    body = _body(NEWS)
    parts = wiring()
    now = parts.now()
    asked = enrolling.read_request(parts.store, body["request"], now)
    g.sender_known = asked["device"]["state"] in tablets_in_use.IN_USE
    signed_answers.check_challenge(parts.keyring, asked["challenge"], now)
    return _json(enrolling.news(parts.store, parts.keyring, asked, now))


def _body(shape: Shape[T]) -> T:
    """The request's JSON object with exactly these fields.
    Raises Unreadable; a body cut short is Flask's 400.
    """
    try:
        value = read_json(request.get_data(cache=False), request_sizes.largest_body(request.endpoint))
    except JsonError as error:
        raise Unreadable("JSON") from error
    found = shape.read(value)
    if isinstance(found, Fault):
        raise Unreadable(found.field if found.kind == "wrong" and found.field else ", ".join(shape.expected))
    return found


def _json(value: Any) -> Response:
    return Response(json.dumps(value), content_type="application/json; charset=utf-8")
