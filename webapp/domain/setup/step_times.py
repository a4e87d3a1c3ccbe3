"""How long each step of a setup stood on the tablet, from the tablet's own monotonic clock.

Rules of this module:
- A step begins when the one before it was closed, or when the setup started or was taken up again; it ends with the
  event that closed it. Of a step that was done again the last time counts.
- What has to be read of a step: what to do, what to look for, what to do otherwise, and all of a caution.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from webapp.domain.procedure.planned_steps import planned_steps
from webapp.domain.setup.pace import KindPace, MarkedStep, StepTime, mark

READ = ("do", "look_for", "if_not", "machine_state")
READ_OF_CAUTION = ("hazard", "consequence", "avoidance")
BEGINNINGS = frozenset({"setup.started", "setup.resumed"})


def step_times(
    sheet: Mapping[str, Any], state: Mapping[str, Any], events: Sequence[Mapping[str, Any]]
) -> tuple[StepTime, ...]:
    """Return the time of every step that was done, in the order of closing."""
    steps = planned_steps(sheet)
    closed = {found["event"]: step for step, found in state["steps"].items() if found["state"] == "done"}
    times: list[StepTime] = []
    since: int | None = None
    for event in events:
        step = steps.get(closed.get(event["id"], ""))
        if step is not None and since is not None:
            took = max(0, int(event["elapsed_ms"]) - since)
            times.append(StepTime(step["id"], step["kind"], took, words_of(step)))
        if step is not None or event["type"] in BEGINNINGS:
            since = int(event["elapsed_ms"])
    return tuple(times)


def words_of(step: Mapping[str, Any]) -> int:
    """Return how many words of a step are to be read."""
    texts = [step[name] for name in READ]
    if step["caution"] is not None:
        texts += [step["caution"][name] for name in READ_OF_CAUTION]
    return sum(len(text.split()) for text in texts)


def marked_times(times: Iterable[StepTime], shop: Mapping[str, KindPace]) -> list[dict[str, Any]]:
    """Return each step's time beside the shop's as whole milliseconds, as a record carries it."""
    return [_plain(step) for step in mark(times, shop)]


def _plain(step: MarkedStep) -> dict[str, Any]:
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
