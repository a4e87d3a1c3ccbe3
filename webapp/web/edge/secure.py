"""Whether a browser can trust the way by which a request came, and what is said where it cannot.

Rules: a passphrase never goes over plain HTTP. Browsers also hold back Secure cookies, workers and signing
there (Secure Contexts, W3C), so that a form could only end in "send it once more": no form is shown at all,
but where to go. This computer's own names are as good as TLS (the same standard, "potentially
trustworthy").
"""

from __future__ import annotations

from flask import request
from werkzeug.exceptions import Forbidden

from webapp.web.edge.wiring import wiring

OF_THIS_COMPUTER = frozenset({"localhost", "127.0.0.1", "[::1]"})


class NotSecure(Forbidden):
    """A page of the desk was asked for over plain HTTP."""


def is_secure() -> bool:
    """Whether the request came by TLS, to this server or to a trusted proxy, or from this computer itself."""
    return request.is_secure or bare_host() in OF_THIS_COMPUTER


def bare_host() -> str:
    """The name by which this server was called, without a port."""
    host: str = request.environ.get("HTTP_HOST", "").lower()
    return host if host.endswith("]") else host.rpartition(":")[0] or host


def address_for_others() -> str:
    """Where tablets and people reach this server: the name that it was told, where a page was asked for on
    the server's own computer or where the shop's own authority vouches for that name alone; else the one by
    which the page was asked for.
    """
    settings = wiring().settings
    is_told = settings.by_own_authority or (settings.by_tls and bare_host() in OF_THIS_COMPUTER)
    return settings.address if is_told else request.host_url.rstrip("/")


def where_to_go() -> tuple[str, dict[str, str | int]]:
    """The sentence of what to do instead, and its fields."""
    settings = wiring().settings
    if settings.by_tls:
        return "web.open_https", {"address": settings.address}
    if settings.trusted_proxies:
        return "web.open_https", {"address": f"https://{bare_host()}"}
    return "web.no_https_yet", {"host": bare_host()}
