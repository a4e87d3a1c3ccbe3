"""The four calls of a tablet. JSON in, JSON out; every refusal is {"code","fields"}.

Rules: what may be sent at all is guards.py's (own header, JSON, same origin, size); whether it is whole is
checked here,
before anything is stored (RFC 8259, strict: no repeated names, no NaN); what it means is the use cases'. A device is
known by its signature, never by a cookie.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response, json, request

from webapp.domain.json_strict import JsonError, read_json
from webapp.services import enrolling, intake
from webapp.web import reaching, sizes
from webapp.web.errors import api_error
from webapp.web.wiring import wiring

blueprint = Blueprint("api", __name__, url_prefix="/api")

MOST_EVENTS = 500
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


@blueprint.post("/reach")
def reach() -> Response:
    """Prove that this server was reached just now."""
    body = _body({"nonce": str})
    parts = wiring()
    return _json(reaching.reach(parts.keyring, body["nonce"], parts.shell.version, parts.now()))


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
    receipts = intake.accept(parts.store, parts.keyring, batch, parts.now())
    return _json({"receipts": reaching.receipts(parts.keyring, receipts, parts.now())})


@blueprint.post("/news")
def news() -> Response:
    """Sheets and decisions for an enrolled tablet that signs its request."""
    body = _body({"request": str})
    parts = wiring()
    now = parts.now()
    asked = enrolling.read_request(parts.store, body["request"], now)
    reaching.check_challenge(parts.keyring, asked["challenge"], now)
    return _json(enrolling.news(parts.store, parts.keyring, asked, now))


def _body(shape: Shape) -> dict[str, Any]:
    """The request's JSON object with exactly these fields. Raises Unreadable; a body cut short is Flask's 400."""
    try:
        value = read_json(request.get_data(cache=False), sizes.largest_body(request.endpoint))
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
