"""The four calls of a tablet. JSON in, JSON out; every refusal is {"code","fields"}.

Rules: what may be sent at all is guards.py's (own header, JSON, same origin, size); whether it is whole is
checked here,
before anything is stored (RFC 8259, strict: no repeated names, no NaN); what it means is the use cases'. A device is
known by its signature, never by a cookie. Strangers are counted by their address and held back (strangers.py); a tablet
in use never is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, g, json, request
from werkzeug.exceptions import TooManyRequests

from webapp.domain.plain.json_strict import JsonError, read_json
from webapp.services.intake import enrolling, intake, tablets_in_use
from webapp.web.edge import request_sizes
from webapp.web.edge.errors import api_error
from webapp.web.edge.wiring import wiring
from webapp.web.tablet import signed_answers

if TYPE_CHECKING:
    from webapp.store import Store

blueprint = Blueprint("api", __name__, url_prefix="/api")

MOST_EVENTS = 500
TURNED_DOWN = frozenset({400, 403, 409, 413, 415, 422})
Shape = Mapping[str, type | tuple[type, ...]]


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


def _asks_whether_reached(_: Store, body: dict[str, Any]) -> bool:
    return bool(signed_answers.NONCE.fullmatch(body["nonce"]))


# What lets a call of an address over its count through. Enrolling has nothing: it waits.
SPOKEN_FOR: Mapping[str, Callable[[Store, dict[str, Any]], bool]] = {
    "api.events": _signed_events,
    "api.news": _signed_request,
    "api.reach": _asks_whether_reached,
}


def _address() -> str:
    return request.remote_addr or "?"


@blueprint.post("/reach")
def reach() -> Response:
    """Prove that this server was reached just now."""
    body = _body({"nonce": str})
    parts = wiring()
    return _json(signed_answers.reach(parts.keyring, body["nonce"], parts.shell.version, parts.now()))


@blueprint.post("/enrol")
def enrol() -> Response:
    """Take a tablet into use with a one-time code."""
    body = _body({"code": str, "name": str, "jwk": dict, "display": str, "proof": str})
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
    body = _body({"events": list})
    batch = body["events"]
    if len(batch) > MOST_EVENTS:
        raise Unreadable("events")
    for entry in batch:
        _check(entry, {"jws": str, "pin": (str, type(None))})
    parts = wiring()
    g.sender_known = tablets_in_use.is_known(parts.store, (entry["jws"] for entry in batch))
    receipts = intake.accept(parts.store, parts.keyring, batch, parts.now())
    return _json({"receipts": signed_answers.receipts(parts.keyring, receipts, parts.now())})


@blueprint.post("/news")
def news() -> Response:
    """Sheets and decisions for an enrolled tablet that signs its request."""
    body = _body({"request": str})
    parts = wiring()
    now = parts.now()
    asked = enrolling.read_request(parts.store, body["request"], now)
    g.sender_known = asked["device"]["state"] in tablets_in_use.IN_USE
    signed_answers.check_challenge(parts.keyring, asked["challenge"], now)
    return _json(enrolling.news(parts.store, parts.keyring, asked, now))


def _body(shape: Shape) -> dict[str, Any]:
    """The request's JSON object with exactly these fields. Raises Unreadable; a body cut short is Flask's 400."""
    try:
        value = read_json(request.get_data(cache=False), request_sizes.largest_body(request.endpoint))
    except JsonError as error:
        raise Unreadable("JSON") from error
    return _check(value, shape)


def _check(value: Any, shape: Shape) -> dict[str, Any]:
    if not isinstance(value, dict) or value.keys() != shape.keys():
        raise Unreadable(", ".join(shape))
    for name, kind in shape.items():
        if not isinstance(value[name], kind):
            raise Unreadable(name)
    return value


def _json(value: Any) -> Response:
    return Response(json.dumps(value), content_type="application/json; charset=utf-8")
