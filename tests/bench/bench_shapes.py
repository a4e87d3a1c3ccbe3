"""Three ways to look at every field of an event, beside the strict reader on the same bytes in the same run.

Start it by hand: python -m tests.bench.bench_shapes. The strict reader is 1.00; the best round counts. Each
way refuses the same planted faults before it is measured, and the one that is used says which field it was.
"""

import json
import re
import sys
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Literal

import msgspec
from typing_extensions import TypedDict

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from webapp.domain.evidence import event_kinds
from webapp.domain.evidence.events import check_event
from webapp.domain.plain.json_strict import LARGEST_INTEGER, read_json

ROUNDS, TIMES = 15, 2000
EVENT: dict[str, Any] = {
    "domain": "zerokeep/event/1",
    "type": "touch.entered",
    "device": "k" * 43,
    "sequence": 2,
    "previous": "a" * 64,
    "setup": "9b2f8c1e-0000-4000-8000-000000000001",
    "sheet": "b" * 64,
    "app": "0.1.0",
    "person": "mara",
    "at_utc": "2026-11-25T08:03:12.345Z",
    "elapsed_ms": 1200,
    "step": "x.touch",
    "data": {
        "axis": "X",
        "typed": "-101.612",
        "value_nm": -101_612_000,
        "verdict": "agrees",
        "difference_nm": 12_000,
    },
}
FAULTS: tuple[dict[str, Any], ...] = (
    {"sequence": 2.0},
    {"elapsed_ms": -1},
    {"sheet": "B" * 64},
    {"at_utc": "2026-02-30T08:03:12.345Z"},
    {"data": {**EVENT["data"], "typed": "1\x00"}},
    {"data": {**EVENT["data"], "verdict": "perhaps"}},
    {"data": {**EVENT["data"], "more": 1}},
    {"more": 1},
)
PATTERNS = {
    "device": r"[A-Za-z0-9_-]{43}",
    "hash": r"[0-9a-f]{64}",
    "uuid": r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}",
    "app": r"[A-Za-z0-9.+_-]{1,64}",
    "person": r"[a-z0-9](?:[a-z0-9-]{0,46}[a-z0-9])?",
    "time": r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z",
    "step": r"[a-z][a-z0-9_]{0,30}\.[a-z][a-z0-9_]{0,30}",
    "typed": r"[^\x00-\x08\x0b-\x1f\x7f-\x9f]{0,40}",
}
FITS = {name: re.compile(pattern).fullmatch for name, pattern in PATTERNS.items()}


def _text(name: str) -> Callable[[Any], bool]:
    fits = FITS[name]
    return lambda value: isinstance(value, str) and fits(value) is not None


def _whole(low: int, high: int) -> Callable[[Any], bool]:
    return lambda value: type(value) is int and low <= value <= high


def _one_of(*words: str) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, str) and value in words


def _is_time(value: Any) -> bool:
    return _text("time")(value) and _is_real(value)


def _is_real(value: str) -> bool:
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True


BY_HAND: dict[str, Callable[[Any], bool]] = {
    "domain": _one_of("zerokeep/event/1"),
    "type": lambda value: isinstance(value, str),
    "device": _text("device"),
    "sequence": _whole(1, LARGEST_INTEGER),
    "previous": _text("hash"),
    "setup": _text("uuid"),
    "sheet": _text("hash"),
    "app": _text("app"),
    "person": _text("person"),
    "at_utc": _is_time,
    "elapsed_ms": _whole(0, LARGEST_INTEGER),
    "step": _text("step"),
    "data": lambda value: isinstance(value, dict),
}
DATA_BY_HAND: dict[str, Callable[[Any], bool]] = {
    "axis": _one_of("X", "Y", "Z"),
    "typed": _text("typed"),
    "value_nm": _whole(-(10**13), 10**13),
    "verdict": _one_of("agrees", "ask", "stop"),
    "difference_nm": _whole(-2 * 10**13, 2 * 10**13),
}


def by_hand(event: dict[str, Any]) -> None:
    """Names first, then a function for each field."""
    for values, checks in ((event, BY_HAND), (event["data"], DATA_BY_HAND)):
        if values.keys() != checks.keys():
            raise ValueError(values.keys())
        for name, passes in checks.items():
            if not passes(values[name]):
                raise ValueError(name)


def _packed(name: str) -> Any:
    return Annotated[str, msgspec.Meta(pattern=rf"^(?:{PATTERNS[name]})\Z")]


def _bounded(low: int, high: int) -> Any:
    return Annotated[int, msgspec.Meta(ge=low, le=high)]


TOUCH_FIELDS: dict[str, Any] = {
    "axis": Literal["X", "Y", "Z"],
    "typed": _packed("typed"),
    "value_nm": _bounded(-(10**13), 10**13),
    "verdict": Literal["agrees", "ask", "stop"],
    "difference_nm": _bounded(-2 * 10**13, 2 * 10**13),
}
EVENT_FIELDS: dict[str, Any] = {
    "domain": Literal["zerokeep/event/1"],
    "type": Literal["touch.entered"],
    "device": _packed("device"),
    "sequence": _bounded(1, LARGEST_INTEGER),
    "previous": _packed("hash"),
    "setup": _packed("uuid"),
    "sheet": _packed("hash"),
    "app": _packed("app"),
    "person": _packed("person"),
    "at_utc": _packed("time"),
    "elapsed_ms": _bounded(0, LARGEST_INTEGER),
    "step": _packed("step"),
}
TouchStruct = msgspec.defstruct("TouchStruct", list(TOUCH_FIELDS.items()), forbid_unknown_fields=True)
EventStruct = msgspec.defstruct(
    "EventStruct", [*EVENT_FIELDS.items(), ("data", TouchStruct)], forbid_unknown_fields=True
)
TouchDict = TypedDict("TouchDict", TOUCH_FIELDS)  # type: ignore[misc]
EventDict = TypedDict("EventDict", {**EVENT_FIELDS, "data": TouchDict})  # type: ignore[misc]
EVENT_NAMES, TOUCH_NAMES = EVENT.keys(), EVENT["data"].keys()


def msgspec_struct(event: dict[str, Any]) -> None:
    """As attributes; it forbids unknown fields itself."""
    _real(msgspec.convert(event, EventStruct).at_utc)


def msgspec_dict(event: dict[str, Any]) -> None:
    """As names; unknown fields have to be looked for beside it."""
    if event.keys() != EVENT_NAMES or event["data"].keys() != TOUCH_NAMES:
        raise ValueError(event.keys())
    _real(msgspec.convert(event, EventDict)["at_utc"])


def _real(at_utc: str) -> None:
    datetime.fromisoformat(at_utc)


def pydantic(event: dict[str, Any]) -> None:
    """What is used: `webapp.domain.evidence.events`, with its own codes."""
    check_event(event)


WAYS = (by_hand, msgspec_struct, msgspec_dict, pydantic)


def _check_the_ways() -> None:
    for way in WAYS:
        way(EVENT)
        for fault in FAULTS:
            try:
                way({**EVENT, **fault})
            except Exception:  # noqa: BLE001, S112 - each has refusals of its own
                continue
            raise SystemExit(f"{way.__name__} lets {fault} in")


def main() -> None:
    """Print each way beside the strict reader."""
    _check_the_ways()
    raw = json.dumps(EVENT).encode()
    runs: dict[str, Callable[[], Any]] = {"strict reader": lambda: read_json(raw)}
    runs |= {way.__name__: (lambda way=way: way(EVENT)) for way in WAYS}
    best = dict.fromkeys(runs, float("inf"))
    for _ in range(ROUNDS):
        for name, run in runs.items():
            start = time.perf_counter()
            for _ in range(TIMES):
                run()
            best[name] = min(best[name], time.perf_counter() - start)
    for name, seconds in best.items():
        print(f"{name:15} {seconds / TIMES * 1e6:6.2f} µs, {seconds / best['strict reader']:.2f}")
    print(f"kinds of events looked at: {len(event_kinds.KINDS)}")


if __name__ == "__main__":
    main()
