"""Joins the blueprints, the guards and the filters to one Flask application.

Rules: an endpoint without rights stops the start;
every page has the same helpers; nothing here knows how a store or a key is made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from flask import Blueprint, Flask, g, has_request_context, request
from jinja2 import StrictUndefined

from webapp.domain.evidence.event_kinds import LONGEST_TEXT
from webapp.domain.plain.directions import shown_value
from webapp.web.desk import access, audit, board, deciding, desk, handing_out, heads, pressed_once, worrying
from webapp.web.edge import errors, guards, headers, rights, secure, shop_zone, watched
from webapp.web.edge.wiring import Wiring, attach
from webapp.web.numbers import budgets, choosing, fixtures, past, printing, probes, z_readings
from webapp.web.shop import (
    closing,
    items,
    out_of_use,
    people,
    procedures,
    registers,
    set_up,
    slots,
    step_pictures,
)
from webapp.web.shop.people_forms import LONGEST_FIELD
from webapp.web.show import shown_values, top_rule, touch_rules
from webapp.web.tablet import api, offline
from webapp.web.tablet import page as tablet_page

BLUEPRINTS: Sequence[Blueprint] = (
    offline.blueprint,
    tablet_page.blueprint,
    api.blueprint,
    access.blueprint,
    board.blueprint,
    closing.blueprint,
    desk.blueprint,
    deciding.blueprint,
    worrying.blueprint,
    registers.blueprint,
    people.blueprint,
    items.blueprint,
    out_of_use.blueprint,
    set_up.blueprint,
    slots.blueprint,
    procedures.blueprint,
    step_pictures.blueprint,
    budgets.blueprint,
    probes.blueprint,
    z_readings.blueprint,
    past.blueprint,
    fixtures.blueprint,
    printing.blueprint,
    choosing.blueprint,
    audit.blueprint,
    handing_out.blueprint,
    heads.blueprint,
    watched.blueprint,
)


def init_app(
    app: Flask, parts: Wiring, blueprints: Sequence[Blueprint], more_rights: Mapping[str, frozenset[str]]
) -> None:
    """Put everything onto the application. Raises EndpointWithoutRights."""
    attach(app, parts)
    headers.init_app(app, by_tls=parts.settings.by_tls or bool(parts.settings.trusted_proxies))
    guards.init_app(app, more_rights)
    errors.init_app(app)
    for blueprint in blueprints:
        app.register_blueprint(blueprint)
    rights.check_table((rule.endpoint for rule in app.url_map.iter_rules()), more_rights)
    # A page that asks for a name that nobody gave it says so, and does not stay empty in that place.
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.finalize = shown_value
    app.jinja_env.filters.update({**shown_values.FILTERS, **shop_zone.FILTERS})
    app.jinja_env.globals["shop_zone"] = shop_zone.shop_zone
    app.jinja_env.globals.update(
        asset=parts.shell.address,
        plain=shown_values.plain,
        press_number=pressed_once.new_number,
        marks_for=top_rule.marks_for,
        axis_marks=touch_rules.axis_marks,
        touch_rule=touch_rules.touch_rule,
        address_for_others=secure.address_for_others,
        longest_text=LONGEST_TEXT,
        longest_line=LONGEST_FIELD,
    )
    app.context_processor(_for_every_page)


def _for_every_page() -> dict[str, object]:
    """What the frame of a page needs; an address that could not be matched has no links to offer."""
    from webapp.web.edge import sessions  # noqa: PLC0415

    linkable = has_request_context() and request.endpoint is not None and request.routing_exception is None
    # A page that says that the store cannot answer asks it nothing more.
    return {"who": None if g.get("store_failed") else sessions.known(), "can_link": linkable}
