"""The page that a tablet keeps and works from.
It carries no data: everything on it comes from what the tablet holds.
"""

from flask import Blueprint, Response, make_response, render_template

from webapp.colours import DARK, LIGHT
from webapp.web.edge.wiring import wiring

blueprint = Blueprint("tablet", __name__)


@blueprint.get("/self-test")
def self_test() -> str:
    """Whether a device trusts this server and can work without it, told by the device itself."""
    return render_template("trust/self_test.html", version=wiring().shell.version)


@blueprint.get("/tablet")
def page() -> Response:
    """The shell page of the version in use."""
    answer = make_response(
        render_template(
            "tablet/shell.html", version=wiring().shell.version, light=LIGHT["paper"], dark=DARK["paper"]
        )
    )
    answer.headers["Cache-Control"] = "no-cache"
    return answer
