"""The session cookie, and who is behind it.

Rules: OWASP ASVS 5.0, chapter 7 and 3.3: a `__Host-` cookie (Secure, HttpOnly, SameSite=Strict, whole host,
no domain), 256 bits of chance, a new one at each sign-in, ended on the server. It has no lifetime of its own:
it goes with the browser, and earlier when the server says so. Browsers take Secure cookies over http for this
computer's own names only.
"""

from __future__ import annotations

from flask import Response, g, has_request_context, request, session

from webapp.services.people import access
from webapp.web.edge.rights import Who
from webapp.web.edge.wiring import wiring

COOKIE = "__Host-zerokeep"


def who_asks() -> Who | None:
    """The person behind this request's cookie, or None."""
    token = request.cookies.get(COOKIE)
    if not token:
        return None
    parts = wiring()
    person = access.session(
        parts.store,
        token,
        parts.now(),
        idle_minutes=parts.settings.session_idle_minutes,
        longest_minutes=parts.settings.session_longest_minutes,
    )
    if person is None:
        return None
    return Who(person["person"], person["name"], frozenset(person["roles"]), person["must_change"])


def known() -> Who | None:
    """The person that the guard found for this request, or None."""
    return getattr(g, "who", None) if has_request_context() else None


def signed_in() -> Who:
    """The person of this request, where the guard has made sure that there is one."""
    who = known()
    if who is None:
        raise LookupError("a view that needs a person was reached without one")
    return who


def begin(answer: Response, token: str) -> Response:
    """Hand the session to the browser.

    The form token stays, so that a form which was left open on another page can still be sent after signing
    in anew; nobody else can have planted it, because a `__Host-` cookie is set by this host alone.
    """
    answer.set_cookie(COOKIE, token, secure=True, httponly=True, samesite="Strict", path="/")
    return answer


def end(answer: Response) -> Response:
    """Take the cookie back."""
    session.clear()
    answer.set_cookie(COOKIE, "", max_age=0, secure=True, httponly=True, samesite="Strict", path="/")
    return answer


def source() -> str:
    """Where this request comes from, for the throttle: each place has its own count of wrong secrets."""
    return request.remote_addr or "?"


def token() -> str | None:
    """The token that this request carries."""
    return request.cookies.get(COOKIE)
