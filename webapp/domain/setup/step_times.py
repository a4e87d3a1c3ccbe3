"""How long each step of a setup stood on the tablet, from the tablet's own monotonic clock.

Rules of this module:
- A step begins when the one before it was closed, or when the setup started or was taken up again;
  it ends with the event that closed it. Of a step that was done again the last time counts.
- A comparison that agrees has no screen of its own:
  its value is kept with the touch, and no time is told of it.
- What has to be read of a step: what to do, what to look for, what to do otherwise, and all of a caution.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal, TypedDict

from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.evidence.written_sheet import StepOnSheet, WrittenSheet
from webapp.domain.setup.pace import KindPace, MarkedStep, StepTime, mark
from webapp.domain.setup.state import AnyEvent

READ: tuple[Literal["do", "look_for", "if_not", "machine_state"], ...] = (
    "do",
    "look_for",
    "if_not",
    "machine_state",
)
READ_OF_CAUTION: tuple[Literal["hazard", "consequence", "avoidance"], ...] = (
    "hazard",
    "consequence",
    "avoidance",
)
BEGINNINGS = frozenset({"setup.started", "setup.resumed"})


class PacedStep(TypedDict):
    """A step's time beside the shop's, in whole milliseconds;
    None where the shop has too few times to tell.
    """

    step: str
    kind: str
    milliseconds: int
    reading_ms: int
    shop_times: int
    shop_middle_ms: int | None
    shop_first_percentile_ms: int | None
    is_marked: bool


def step_times(sheet: WrittenSheet, state: Folded, events: Sequence[AnyEvent]) -> tuple[StepTime, ...]:
    """Return the time of every step that was done, in the order of closing."""
    steps = planned_steps(sheet)
    closed = {found["event"]: step for step, found in state["steps"].items() if found["state"] == "done"}
    times: list[StepTime] = []
    since: int | None = None
    for event in events:
        step = steps.get(closed.get(event["id"], ""))
        if step is not None and since is not None and not _kept_with_its_touch(event):
            took = max(0, int(event["elapsed_ms"]) - since)
            times.append(StepTime(step["id"], step["kind"], took, words_of(step)))
        if step is not None or event["type"] in BEGINNINGS:
            since = int(event["elapsed_ms"])
    return tuple(times)


def _kept_with_its_touch(event: AnyEvent) -> bool:
    """Tell whether this event keeps a touch that agrees."""
    return event["type"] == "touch.kept" and event["data"]["because"] == "agrees"


def words_of(step: StepOnSheet) -> int:
    """Return how many words of a step are to be read."""
    texts = [step[name] for name in READ]
    if step["caution"] is not None:
        texts += [step["caution"][name] for name in READ_OF_CAUTION]
    return sum(len(text.split()) for text in texts)


def marked_times(times: Iterable[StepTime], shop: Mapping[str, KindPace]) -> list[PacedStep]:
    """Return each step's time beside the shop's as whole milliseconds, as a record carries it."""
    return [_plain(step) for step in mark(times, shop)]


def _plain(step: MarkedStep) -> PacedStep:
    shop = step.shop
    first = None if shop is None else shop.first_percentile_ms
    return {
        "step": step.step,
        "kind": step.kind,
        "milliseconds": step.milliseconds,
        "reading_ms": round(step.reading_ms),
        "shop_times": 0 if shop is None else shop.times,
        "shop_middle_ms": None if shop is None else round(shop.middle_ms),
        "shop_first_percentile_ms": None if first is None else round(first),
        "is_marked": step.is_marked,
    }
