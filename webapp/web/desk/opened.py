"""One setup for whoever may see it: what its page and the pages that decide about it show.

Rules: a setup that may not be seen is answered like one that does not exist.
"""

from __future__ import annotations

from typing import Any

from werkzeug.exceptions import NotFound

from webapp.domain.evidence.for_whom import stages_for
from webapp.proof.keys.seal_term import seal_term
from webapp.services.decisions import adding, signing_off
from webapp.services.errors import NoSuchSetup
from webapp.services.setups import listing, pacing
from webapp.web.edge import denials, sessions
from webapp.web.edge.rights import may_open
from webapp.web.edge.wiring import wiring
from webapp.web.show import rendering, shown_values
from webapp.web.show.naming import names


def must_see(setup_id: str) -> None:
    """Raise NotFound for a setup that is not there, or that the person signed in may not see."""
    try:
        row = listing.setup_row(wiring().store, setup_id)
    except NoSuchSetup:
        raise NotFound from None
    who = sessions.signed_in()
    if not may_open(who, row["person"]):
        denials.note(who)
        raise NotFound


def opened(setup_id: str) -> dict[str, Any]:
    """All that a page about one setup shows, for a person who may see it. Raises NotFound."""
    must_see(setup_id)
    parts = wiring()
    detail = signing_off.detail(parts.store, setup_id)
    sheet, state = detail["sheet"], detail["state"]
    return {
        "row": detail["setup"],
        "record": detail["record"],
        "additions": adding.additions(parts.store, setup_id) if detail["record"] else [],
        "device_name": detail["device_name"],
        "detail": detail,
        "sheet": sheet,
        "state": state,
        "lengths": shown_values.Lengths(shown_values.display_of(sheet["machine"])),
        "touches": shown_values.touch_rows(sheet, state),
        "timings": shown_values.timings(stages_for(sheet, state["person"]), state, detail["events"]),
        "pace": {row["step"]: row for row in detail["pace"]},
        "paced": pacing.marked(detail["pace"]),
        "triggers": shown_values.trigger_lines(sheet, state),
        "squares": shown_values.square_rows(sheet, state),
        "remarks": shown_values.remark_lines(sheet, state, names()),
        "troubles": shown_values.trouble_lines(state),
        "names": names(),
        "drawings": rendering.drawings(sheet),
        "seal_term": seal_term(parts.keyring.seal_certificate, parts.now()),
    }
