"""The board: what state every machine was left in, for everyone who is on the shop's network."""

from flask import Blueprint, render_template

from webapp.services.setups.board import board as left_states
from webapp.web.edge.wiring import wiring

blueprint = Blueprint("board", __name__)


@blueprint.get("/")
def machines() -> str:
    """Every machine: how it was left, by whom, when, and how many questions are open."""
    parts = wiring()
    return render_template(
        "desk/board.html", machines=left_states(parts.store, parts.now()), demo=parts.settings.demo
    )
