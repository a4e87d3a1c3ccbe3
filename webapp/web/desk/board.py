"""The board: what state every machine was left in, for everyone who is on the shop's network."""

from flask import Blueprint, Response, make_response, render_template, request

from webapp.proof.certificates.tls_certificate import tls_term
from webapp.services.setups.board import board as left_states
from webapp.services.shop import beginning
from webapp.services.times import utc_text
from webapp.web.edge.wiring import wiring
from webapp.web.show.naming import names

blueprint = Blueprint("board", __name__)

RENEW_S = 30
BOARD_DAYS = 30  # leads are told earlier, on their first page


@blueprint.get("/")
def machines() -> str:
    """Every machine: how it was left, by whom, when, and how many questions are open."""
    parts = wiring()
    found = left_states(parts.store, parts.now())
    return render_template(
        "desk/board.html",
        machines=found,
        names=names(),
        is_open=not found and beginning.is_open(parts.store),
        demo=parts.settings.demo,
        tls_term=tls_term(parts.settings.tls_certificate, parts.now(), BOARD_DAYS),
    )


@blueprint.get("/wall")
def wall() -> Response:
    """The same for a screen on a wall: large, without a menu and without a value. It renews itself where that
    is asked for, and stands still where not (WCAG 2.2, 2.2.1).
    """
    parts, renews = wiring(), "renew" in request.args
    answer = make_response(
        render_template(
            "desk/wall.html",
            machines=left_states(parts.store, parts.now()),
            names=names(),
            now_utc=utc_text(parts.now()),
            renews=renews,
        )
    )
    if renews:
        answer.headers["Refresh"] = str(RENEW_S)
    return answer
