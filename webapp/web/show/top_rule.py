"""The marks of the rule along the top: which pages there are for whom, and what waits behind them."""

from __future__ import annotations

from dataclasses import dataclass

from flask import url_for

from webapp.services.setups import answering, listing, worrying
from webapp.web.edge import rights
from webapp.web.edge.wiring import wiring


@dataclass(frozen=True)
class Mark:
    """One page of the desk: its words, its address,
    the endpoints under it, and how many things wait there.
    """

    label: str
    address: str
    endpoints: frozenset[str]
    count: int = 0


MARKS: tuple[tuple[str, str, frozenset[str]], ...] = (
    ("Board", "board.machines", frozenset()),
    ("Queue", "desk.queue", frozenset({"deciding.question", "deciding.sign_together", "worrying.worry"})),
    ("Setups", "desk.setups", frozenset({"desk.setup", "deciding.sign_off", "deciding.not_accept"})),
    ("Slots", "registers.slots", frozenset({"slots.slot", "slots.change", "slots.term"})),
    ("People", "registers.people", frozenset({"people.new", "people.person", "people.change"})),
    (
        "Machines",
        "registers.machines",
        frozenset(
            {
                "budgets.page",
                "budgets.line",
                "budgets.take_back",
                "budgets.confidence",
                "items.page",
                "items.new",
                "items.change",
                "items.rules",
                "set_up.guide",
                "set_up.own_slot",
            }
        ),
    ),
    (
        "Fixtures",
        "fixtures.overview",
        frozenset(
            {"fixtures.trends", "fixtures.seating", "fixtures.value", "choosing.matters", "choosing.choose"}
        ),
    ),
    ("Probes", "probes.overview", frozenset({"probes.probe", "probes.check", "probes.care"})),
    (
        "Procedures",
        "procedures.overview",
        frozenset(
            {
                "procedures.procedure",
                "procedures.step",
                "procedures.preview",
                "procedures.publish",
                "step_pictures.page",
            }
        ),
    ),
    ("Past values", "past.overview", frozenset({"past.look", "past.take_in", "past.setup"})),
    ("Tablets", "registers.tablets", frozenset({"registers.make_code", "registers.waiting_file"})),
    ("Ledger", "audit.ledger", frozenset({"audit.entry"})),
    ("Check a record", "audit.verify", frozenset()),
)


def marks_for(who: rights.Who | None) -> list[Mark]:
    """The pages that this person may open, in the order of the rule."""
    return [
        Mark(
            label,
            url_for(endpoint),
            frozenset({endpoint, *below}),
            _waiting() if endpoint == "desk.queue" else 0,
        )
        for label, endpoint, below in MARKS
        if rights.allowed(rights.RIGHTS[endpoint], who)
    ]


def _waiting() -> int:
    """Open worries, questions that wait for an answer, setups that wait for a sign-off."""
    store = wiring().store
    waiting = listing.waiting_for_sign_off(store) + answering.open_questions(store)
    return waiting + worrying.count_open(store)
