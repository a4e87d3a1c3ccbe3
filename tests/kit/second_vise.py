"""The demo with a second vise on its mill Plover, a foot to the left of the first one, bolted today."""

from __future__ import annotations

from dataclasses import replace

from tests.kit.demo import Demo, Mill, now, settings_of
from webapp.commands.opening import opened
from webapp.domain.shop.fields import as_plain
from webapp.services.evidence.ledger import SERVER, change, on_ledger
from webapp.services.shop.loading import as_stored
from webapp.services.times import utc_text

VISE, NAME, SEATING = "plover-vise-left", "Vise A left", "plover-vise-left-1"
APART_NM = {"X": -250_000_000, "Y": 6_000_000, "Z": 4_000_000}


def bolt_second_vise(demo: Demo) -> None:
    """Let the demo's shop have it, as a shop file or a lead would."""
    first = next(one for one in demo.shop.fixtures if one.id == "plover-vise")
    vise = as_stored(as_plain(replace(first, id=VISE, name=NAME)))
    with opened(settings_of(demo.folder)) as (store, _), store.writing():
        store.shop.put("fixture", VISE, vise)
        change(store, "fixture.added", SERVER, VISE, None, {"value": on_ledger(vise)}, now())
        since = {"seating": SEATING, "reason": "Bolted down beside the first.", "since_utc": utc_text(now())}
        store.shop.start_seating(SEATING, VISE, since["since_utc"], since["reason"])
        change(store, "seating.started", SERVER, VISE, None, since, now())
        machine = {**(store.shop.item("machine", "plover") or {}), "more_fixtures": [VISE]}
        store.shop.put("machine", "plover", machine)
        change(store, "machine.changed", SERVER, "plover", None, {"value": on_ledger(machine)}, now())


def mill_at_second_vise(demo: Demo) -> Mill:
    """Plover's mill with the hands at the second vise: what is touched stands that far from the first."""
    mill = demo.mill("plover")
    mill.mill.truth = mill.mill.truth.moved(APART_NM)
    return mill
