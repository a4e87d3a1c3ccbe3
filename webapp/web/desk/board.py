"""The board: what state every machine was left in, for everyone who is on the shop's network."""

from flask import Blueprint, render_template

from webapp.proof.tls_certificate import tls_term
from webapp.services.setups.board import board as left_states
from webapp.web.edge.wiring import wiring

blueprint = Blueprint("board", __name__)

BOARD_DAYS = 30  # leads are told earlier, on their first page


@blueprint.get("/")
def machines() -> str:
    """Every machine: how it was left, by whom, when, and how many questions are open."""
    parts = wiring()
    return render_template(
        "desk/board.html",
        machines=left_states(parts.store, parts.now()),
        demo=parts.settings.demo,
        tls_term=tls_term(parts.settings.tls_certificate, parts.now(), BOARD_DAYS),
    )
