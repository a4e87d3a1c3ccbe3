"""What stands before every view: size, origin, session, rights, form token. In this order, in one place.

Rules: OWASP ASVS 5.0, 3.5.1 to 3.5.3 and 8.3.1.
- A request that changes something is taken only from our own pages: Sec-Fetch-Site says same-origin or none,
  or, where a browser does not send that header, Origin is this host by this scheme: a
  page that came without TLS may have come from anybody. Both headers missing is refused for forms: every
  browser that can run the pages sends one of them.
- Tablet calls carry JSON and the header `X-Zerokeep: 1`, which no form and no foreign page can send without
  asking first (Fetch standard, CORS-preflight); we never answer such a question with a yes.
- Desk forms carry a token besides. A token that is too old leads to a page that keeps what was typed.
"""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import urlsplit

from flask import Flask, Response, current_app, g, redirect, request, url_for
from flask_wtf.csrf import CSRFError, CSRFProtect
from werkzeug.exceptions import BadRequest, Forbidden, UnsupportedMediaType

from webapp.services.evidence import timekeeping
from webapp.web.edge import denials, request_sizes, rights, secure, sessions
from webapp.web.edge.wiring import wiring

READING = frozenset({"GET", "HEAD"})
OWN_PAGES = frozenset({"same-origin", "none"})
WHILE_MUST_CHANGE = frozenset(
    {
        "access.me",
        "access.choose_own",
        "access.change_passphrase",
        "access.change_pin",
        "access.sign_out",
    }
)

WAYS_IN = frozenset({"access.sign_in", "access.sign_out", "set_up.begin"})

csrf = CSRFProtect()


class FromElsewhere(Forbidden):
    """The request did not come from a page of this server."""

    code_word = "web.from_elsewhere"


def init_app(app: Flask, more_rights: Mapping[str, frozenset[str]]) -> None:
    """Put the guards before every view of the application."""
    csrf.init_app(app)
    table = {**rights.RIGHTS, **more_rights}

    @app.before_request
    def guard() -> Response | None:
        request.max_content_length = request_sizes.largest_body(request.endpoint)
        if request.method not in READING:
            _look_at_clock()
        if request.endpoint is None:  # no address of this server
            return None
        needed = table.get(request.endpoint)
        for_tablets = needed == rights.TABLETS
        if _needs_a_secure_way(needed) and not secure.is_secure():
            raise secure.NotSecure
        if request.method not in READING:
            _check_sender(for_tablets=for_tablets)
        g.who = None if for_tablets else sessions.who_asks()
        if not rights.allowed(needed, g.who):
            return _turn_away()
        if g.who is not None and g.who.must_change and _waits_for_change(needed):
            return _see_other(url_for("access.me"))
        if request.method not in READING and not for_tablets:
            csrf.protect()
        return None


def _look_at_clock() -> None:
    """Note a jump of the server's clock before anything is written under its new time."""
    parts = wiring()
    jump = parts.timekeeper.look(parts.now()) if parts.timekeeper else None
    if jump is not None:
        current_app.logger.warning("the server's clock moved by %d ms", jump.moved_ms)
        timekeeping.note(parts.store, jump, "running")


def _needs_a_secure_way(needed: frozenset[str] | None) -> bool:
    """Whatever is for people by name, and the way in to it."""
    return request.endpoint in WAYS_IN or not (needed or frozenset()) & {rights.PUBLIC, rights.DEVICE}


def _check_sender(*, for_tablets: bool) -> None:
    if not _from_our_pages():
        raise FromElsewhere
    if for_tablets:
        if request.headers.get("X-Zerokeep") != "1":
            raise FromElsewhere
        if request.mimetype != request_sizes.kind_of_body(request.endpoint):
            raise UnsupportedMediaType


def _from_our_pages() -> bool:
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site in OWN_PAGES
    origin = request.headers.get("Origin")
    if origin is None:
        return False
    parts = urlsplit(origin)
    return parts.scheme == request.scheme and parts.netloc == request.host


def _waits_for_change(needed: frozenset[str] | None) -> bool:
    return request.endpoint not in WHILE_MUST_CHANGE and not (needed or frozenset()) & {rights.PUBLIC}


def _turn_away() -> Response:
    current_app.logger.info(
        "refused %s %s to %s", request.method, request.endpoint, g.who.id if g.who else "nobody"
    )
    if g.who is None and request.method in READING:
        return _see_other(url_for("access.sign_in", to=request.full_path.rstrip("?")))
    if g.who is None:
        raise SignedOut
    denials.note(g.who)
    raise Forbidden


def _see_other(address: str) -> Response:
    answer = redirect(address, 303)
    assert isinstance(answer, Response)  # noqa: S101 - Flask's redirect is typed wider than it is
    return answer


class SignedOut(BadRequest):
    """A form was sent after the session had ended."""


__all__ = ["CSRFError", "FromElsewhere", "SignedOut", "csrf", "init_app"]
