"""Headers on every answer, errors and files included.

Rules: OWASP ASVS 5.0 chapter 3 (3.3, 3.4, 3.5.8); CSP level 3; one static policy,
because the tablet's pages are answered from a cache in which a nonce of the day would be stale.

- Referrer-Policy is `same-origin`, not `no-referrer`: under `no-referrer` a browser sends `Origin: null` with
  a form (Fetch standard, "append a request Origin header"), and the check of Origin in guards.py would have
  to let null pass. `same-origin` tells other sites nothing either.
- Strict-Transport-Security only when this server or a proxy that it trusts speaks TLS, and not on answers
  to a bare address, where it has no effect (RFC 6797 section 8.1.1). One day only: a longer promise locks
  tablets out when the shop's certificate fails, because the browser then offers no way on.
"""

from flask import Flask, Response, request

POLICY = (
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self'",
    "font-src 'self'",
    "connect-src 'self'",
    "manifest-src 'self'",
    "worker-src 'self'",
    "object-src 'none'",
    "base-uri 'none'",
    "form-action 'self'",
    "frame-ancestors 'none'",
    "require-trusted-types-for 'script'",
    "trusted-types zerokeep-worker",
)
CONTENT_SECURITY_POLICY = "; ".join(POLICY)
PERMISSIONS_POLICY = ", ".join(
    f"{name}=()"
    for name in (
        "accelerometer", "autoplay", "browsing-topics", "camera", "display-capture", "encrypted-media",
        "geolocation", "gyroscope", "hid", "magnetometer", "microphone", "midi", "payment",
        "picture-in-picture", "serial", "usb", "xr-spatial-tracking",
    )
)  # fmt: skip
FIXED = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": PERMISSIONS_POLICY,
}
# A page of the desk may show the glass, which is a page of this server that shows and does nothing.
FRAMED = "procedures.glass"
FRAMING = frozenset({"procedures.preview", "procedures.step"})
# The tablet's page alone may look through the camera, for the one-time code of its enrolment.
WITH_CAMERA = PERMISSIONS_POLICY.replace("camera=()", "camera=(self)")
SEES = "tablet.page"
ONE_DAY_S = 86_400


def init_app(app: Flask, *, by_tls: bool) -> None:
    """Add the headers to every answer of the application."""

    @app.after_request
    def add(response: Response) -> Response:
        for name, value in FIXED.items():
            response.headers[name] = value
        response.headers["Content-Security-Policy"] = policy_for(request.endpoint)
        if request.endpoint == SEES:
            response.headers["Permissions-Policy"] = WITH_CAMERA
        response.headers.setdefault("Cache-Control", "no-store")
        if by_tls and request.is_secure and _is_a_name(request.environ.get("HTTP_HOST", "")):
            response.headers["Strict-Transport-Security"] = f"max-age={ONE_DAY_S}"
        return response


def policy_for(endpoint: str | None) -> str:
    """What a page may load, and who may show it inside another."""
    if endpoint == FRAMED:
        return CONTENT_SECURITY_POLICY.replace("frame-ancestors 'none'", "frame-ancestors 'self'")
    return f"{CONTENT_SECURITY_POLICY}; frame-src 'self'" if endpoint in FRAMING else CONTENT_SECURITY_POLICY


def _is_a_name(host: str) -> bool:
    bare = host.rsplit(":", 1)[0] if not host.endswith("]") else host
    return bool(bare) and not bare.startswith("[") and not bare.replace(".", "").isdigit()
