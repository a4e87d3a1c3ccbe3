"""What a person or a tablet reads when something was refused or went wrong.

Rules: OWASP ASVS 5.0, 16.5.1 to 16.5.4: no inner detail leaves the server, everything unforeseen is caught
here, and a page that fails while an error is shown falls back to plain text. Tablets get {"code","fields"};
people get a page that says what happened and what to do. What was typed into a form is handed back, secrets
aside.
"""

from __future__ import annotations

from collections.abc import Mapping

from flask import Flask, Response, current_app, g, json, make_response, render_template, request
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException, SecurityError

from webapp.domain.plain.errors import DomainError
from webapp.proof.errors import ProofError
from webapp.services import errors as refusals
from webapp.services.people.errors import StoppedAfterTries, TooManyTries
from webapp.store.errors import (
    DatabaseLocked,
    DatabaseNotReached,
    DiskFailed,
    DiskFull,
    FolderNotWritable,
    StoreError,
)
from webapp.web.edge import secure
from webapp.web.edge.guards import FromElsewhere, SignedOut
from webapp.web.edge.watched import NotForThisAddress
from webapp.web.edge.wiring import wiring

SECRETS = frozenset(
    {
        "passphrase",
        "pin",
        "new_passphrase",
        "new_passphrase_again",
        "new_pin",
        "new_pin_again",
        "current",
    }
)
OWN_FIELDS = frozenset({"csrf_token", "press"})
TOO_MANY = 429
KNOWN = {
    400: "web.bad_request",
    403: "web.not_allowed",
    404: "web.not_found",
    405: "web.method_not_allowed",
    413: "web.too_large",
    415: "web.not_json",
    429: "web.too_many",
    500: "web.fault",
    503: "web.busy",
}
STATUS_OF: tuple[tuple[type[Exception], int], ...] = (
    (TooManyTries, 429),
    (StoppedAfterTries, 429),
    (refusals.NotFound, 404),
    (refusals.NotAllowed, 403),
    (refusals.NotNow, 409),
)
# What the store could not do now and may do in a while: the disk or the database is busy, full or out of
# reach. To each the words for everybody: the store's own name folders.
PASSING: Mapping[type[StoreError], str] = {
    DatabaseLocked: "web.store_locked",
    DatabaseNotReached: "web.store_not_reached",
    DiskFull: "web.store_disk_full",
    DiskFailed: "web.store_disk_failed",
    FolderNotWritable: "web.store_folder_not_writable",
}
RETRY_AFTER_SECONDS = 10
LAST_WORDS = "Something went wrong on the server. It was noted. Try again; if it stays, tell the lead.\n"


def is_secret(name: str) -> bool:
    """Whether a form's field holds a secret. Where a page has several forms, a prefix ends in a hyphen."""
    return name.rpartition("-")[2] in SECRETS


def init_app(app: Flask) -> None:
    """Answer every error of the application in our own words."""
    app.register_error_handler(CSRFError, _send_again)
    app.register_error_handler(SignedOut, _send_again)
    app.register_error_handler(DomainError, _refusal)
    app.register_error_handler(ProofError, _refusal)
    app.register_error_handler(HTTPException, _page)
    for kind in PASSING:
        app.register_error_handler(kind, _not_now)
    app.register_error_handler(Exception, _fault)


def api_error(status: int, code: str, fields: dict[str, str | int] | None = None) -> Response:
    """An error for a tablet."""
    body = json.dumps({"code": code, "fields": fields or {}})
    return Response(body, status=status, content_type="application/json; charset=utf-8")


def _page(error: HTTPException) -> Response:
    status = error.code or 500
    if status < 400:
        return make_response(error.get_response())
    code, fields = _words_of(error, status)
    if request.path.startswith("/api/"):
        answer = api_error(status, code, fields)
    else:
        answer = make_response(
            render_template("desk/error.html", status=status, code=code, fields=fields), status
        )
    for name in ("Allow", "Retry-After"):
        if name in error.get_response().headers:
            answer.headers[name] = error.get_response().headers[name]
    return answer


def _words_of(error: HTTPException, status: int) -> tuple[str, dict[str, str | int]]:
    """What is said of an error that the framework or a guard raised: a code and its fields."""
    if isinstance(error, SecurityError):
        return "web.other_name", {"address": wiring().settings.address}
    if isinstance(error, secure.NotSecure):
        return secure.where_to_go()
    own = error.code_word if isinstance(error, FromElsewhere | NotForThisAddress) else None
    return own or KNOWN.get(status, KNOWN[400]), {}


def _refusal(error: DomainError | ProofError) -> Response:
    """A rule said no and no view put it beside its field."""
    status = next((number for kind, number in STATUS_OF if isinstance(error, kind)), 422)
    if request.path.startswith("/api/"):
        answer = api_error(status, error.code, error.fields)
        if status == TOO_MANY and isinstance(error.fields.get("seconds"), int):
            answer.headers["Retry-After"] = str(error.fields["seconds"])
        return answer
    page = render_template("desk/error.html", status=status, code=error.code, fields=error.fields)
    return make_response(page, status)


def _not_now(error: StoreError) -> Response:
    """The store says why, to whoever asked in the words for everybody, to the server's log in its own."""
    current_app.logger.error("%s %s: %s", request.method, request.endpoint, error)
    g.store_failed = True
    if request.path.startswith("/api/"):
        answer = api_error(503, error.code)
    else:
        # The rule along the top asks the store how much waits: not now.
        words = PASSING[type(error)]
        page = render_template("desk/error.html", status=503, code=words, fields={}, can_link=False)
        answer = make_response(page, 503)
    answer.headers["Retry-After"] = str(RETRY_AFTER_SECONDS)
    return answer


def _send_again(error: HTTPException) -> Response:
    """The form's token is too old or the session ended: show what was typed, ready to be sent again."""
    typed = [
        (name, value)
        for name, value in request.form.items(multi=True)
        if not is_secret(name) and name not in OWN_FIELDS
    ]
    secrets = [name for name in request.form if is_secret(name)]
    page = render_template(
        "desk/send_again.html",
        address=request.path,
        typed=typed,
        secrets=secrets,
        had_file=bool(request.files),
        signed_out=isinstance(error, SignedOut),
    )
    return make_response(page, 400)


def _fault(error: Exception) -> Response:
    current_app.logger.error("fault in %s %s", request.method, request.endpoint, exc_info=error)
    if request.path.startswith("/api/"):
        return api_error(500, KNOWN[500])
    try:
        return make_response(render_template("desk/error.html", status=500, code=KNOWN[500], fields={}), 500)
    except Exception:
        current_app.logger.exception("fault while showing a fault")
        return Response(LAST_WORDS, status=500, content_type="text/plain; charset=utf-8")
