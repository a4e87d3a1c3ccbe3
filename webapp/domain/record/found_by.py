"""What a setup is found by: its slot, what its touches came to, the causes that were named, its worries, and
the words that people said in it.

Rules of this module:
- All of it follows from the sheet and the fold, so that it can be made again and compared at any time.
- A setup is found under "agrees" where every touch agreed; under "ask" and "stop" where one did, whatever
  became of it.
- A cause counts where it was named for a touch, the likeliest or not.
- Words are what somebody typed: worries, questions and their answers, reasons and notes; case and accents do
  not matter.
"""

from __future__ import annotations

from collections.abc import Iterator

from webapp.domain.causes.of_setup import causes_of_touch
from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.plain.folding import folded

SLOT, VERDICT, CAUSE, WORRY = "slot", "verdict", "cause", "worry"
VERDICTS = ("agrees", "ask", "stop")
BETWEEN = " | "


def term(kind: str, value: str) -> str:
    """What stands for one thing that setups are found by, such as "slot:G54"."""
    return f"{kind}:{value}"


def terms_of(sheet: WrittenSheet, state: Folded) -> frozenset[str]:
    """All that a setup is found by, its words aside."""
    slot = [] if state["slot"] is None else [term(SLOT, state["slot"])]
    verdicts = {touch["verdict"] for touch in state["touches"]}
    came_to = verdicts if verdicts == {"agrees"} else verdicts - {"agrees"}
    return frozenset(
        (
            *slot,
            *(term(VERDICT, verdict) for verdict in came_to),
            *(term(CAUSE, code) for code in _causes(sheet, state)),
            *(term(WORRY, worry["worry"]) for worry in state["worries"]),
        )
    )


def words_of(state: Folded) -> str:
    """What people said in a setup, each thing once, folded; empty where nobody said anything."""
    said = dict.fromkeys(folded(text) for text in _said(state) if text)
    return BETWEEN.join(text for text in said if text)


def _causes(sheet: WrittenSheet, state: Folded) -> Iterator[str]:
    for place in range(len(state["touches"])):
        for cause in causes_of_touch(sheet, state, place) or ():
            yield cause.code.removeprefix("cause.")


def _said(state: Folded) -> Iterator[str | None]:
    for worry in state["worries"]:
        yield worry["text"]
        yield worry["closed"] and worry["closed"]["reason"]
    for question in state["questions"]:
        yield question["text"]
        yield question["answer"] and question["answer"]["reason"]
    yield from (one["reason"] for one in state["corrections"])
    yield from (one["reason"] for one in state["lifts"])
    yield state["broken_off"] and state["broken_off"]["text"]
    yield state["sign_off"] and state["sign_off"]["note"]
    yield state["not_accepted"] and state["not_accepted"]["reason"]
