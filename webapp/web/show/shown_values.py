"""From stored values to what a desk page shows: moments, lengths in a machine's own unit, rows of a table.

Rules: a length is shown in the unit and resolution of its machine's display, with its sign
(domain/plain/lengths.py); times are UTC and say so in the heading of their column or of their page; nothing
is worked out here, only written down.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from webapp.domain.causes.of_setup import causes_of_touch
from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.evidence.written_sheet import StageOnSheet, WrittenSheet
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.plain.lengths import Display, Unit, format_length, format_other_unit
from webapp.domain.setup.remarks import say_remark
from webapp.domain.setup.state import OPEN, AnyEvent
from webapp.domain.touch.jaw_square import jaw_angle, say_angle
from webapp.words import NoWordsError, catalogue, say


def span(milliseconds: int | None) -> str:
    """A stretch of time as minutes and seconds, `4:07`."""
    if milliseconds is None:
        return "–"
    minutes, seconds = divmod(round(milliseconds / 1000), 60)
    return f"{minutes}:{seconds:02d}"


def apart(milliseconds: int) -> str:
    """How far two clocks are apart, in the largest unit that says it: `3 minutes`, `5 hours`, `2 days`."""
    minutes = abs(milliseconds) // 60_000
    if minutes >= 2 * 1440:
        return f"{minutes // 1440} days"
    return f"{minutes // 60} hours" if minutes >= 120 else f"{minutes} minutes"


def display_of(machine: Mapping[str, Any]) -> Display:
    """The display of a machine, from a sheet's or a register's machine."""
    return Display(Unit(machine["unit"]), machine["decimals"])


@dataclass(frozen=True)
class Lengths:
    """Writes lengths as one machine's display shows them. None is written as an en dash."""

    display: Display

    def signed(self, value_nm: int | None) -> str:
        """With its sign."""
        return "–" if value_nm is None else format_length(value_nm, self.display)

    def line(self, value_nm: int | None) -> str:
        """A half-width, as `±0.031`."""
        return "–" if value_nm is None else f"±{format_length(value_nm, self.display, sign=False)}"

    def plain(self, value_nm: int | None) -> str:
        """Without a sign, for measures that have none."""
        return "–" if value_nm is None else format_length(value_nm, self.display, sign=False)

    def fine(self, value_nm: int) -> str:
        """An uncertainty, with one decimal more than the display shows and its unit."""
        unit = self.display.unit
        finer = Display(unit, min(self.display.decimals + 1, unit.most_decimals))
        step_nm = finer.resolution_nm
        return f"{format_length(-(-value_nm // step_nm) * step_nm, finer, sign=False)} {self.unit}"

    def other(self, value_nm: int | None) -> str:
        """In the other unit, with its name."""
        return "–" if value_nm is None else format_other_unit(value_nm, self.display)

    @property
    def unit_word(self) -> str:
        """The unit as a heading says it: mm or inches."""
        return unit_word(self.unit)

    @property
    def unit(self) -> str:
        """Mm or in."""
        return str(self.display.unit)


def unit_word(unit: str) -> str:
    """A unit of lengths as it stands behind the word “in”: mm or inches."""
    return "inches" if unit == Unit.INCH else unit


def touch_rows(sheet: WrittenSheet, state: Folded) -> list[dict[str, Any]]:
    """Every touch beside its limits and its likely causes, in the order of touching;
    the kept ones are marked.
    """
    axes = {axis["axis"]: axis for axis in sheet["axes"]}
    lengths = Lengths(display_of(sheet["machine"]))
    rows = []
    for place, touch in enumerate(state["touches"]):
        usual = axes[touch["axis"]]["usual"]
        rows.append(
            {
                **touch,
                "face": axes[touch["axis"]]["face"],
                "value": lengths.signed(touch["value_nm"]),
                "usual": lengths.signed(usual["centre_nm"]),
                "difference": lengths.signed(touch["difference_nm"]),
                "ask": lengths.line(usual["ask_nm"]),
                "stop": lengths.line(usual["stop_nm"]),
                "setups": usual["values"],
                "seatings": usual["seatings"],
                "causes": causes_of_touch(sheet, state, place),
                "ask_nm": usual["ask_nm"],
                "stop_nm": usual["stop_nm"],
            }
        )
    return rows


def remark_lines(sheet: WrittenSheet, state: Folded, names: Mapping[str, str]) -> list[str]:
    """What the lead is to see before signing off, in whole sentences."""
    display = display_of(sheet["machine"])
    said = [say_remark(one, display, lambda person: names.get(person, person)) for one in state["remarks"]]
    return [plain(one.code, one.fields) for one in said]


def trouble_lines(state: Folded) -> list[str]:
    """What happened during moves, each once, in whole sentences."""
    return [plain(f"record.trouble_{one['trouble']}") for one in state["troubles"]]


def trigger_lines(sheet: WrittenSheet, state: Folded) -> list[str]:
    """Where the probe answered and what was then to be entered by hand, in whole sentences, oldest first."""
    lengths = Lengths(display_of(sheet["machine"]))
    return [
        plain(
            "record.trigger",
            {
                "axis": one["axis"],
                "typed": one["typed"],
                "surface": lengths.signed(one["surface_nm"]),
                "unit": lengths.unit,
            },
        )
        for one in state["triggers"]
    ]


def square_rows(sheet: WrittenSheet, state: Folded) -> list[dict[str, Any]]:
    """Every look for square with what it came to in words, newest last."""
    plan, display = sheet.get("square"), display_of(sheet["machine"])
    if plan is None:
        return []
    rows = []
    for square in state["squares"]:
        angle = jaw_angle(
            (0, square["apart_nm"]),
            (square["values_nm"][0], square["values_nm"][1]),
            plan["u_touch_nm"],
            plan["jaw_length_nm"],
            display,
        )
        found = say_angle(angle, display)
        rows.append({**square, "words": say(found.code, found.fields)})
    return rows


def timings(stages: list[StageOnSheet], state: Folded, events: Sequence[AnyEvent]) -> list[dict[str, Any]]:
    """When each step was closed and how long after the event before it,
    from the tablet's own monotonic clock.
    """
    by_id = {event["id"]: place for place, event in enumerate(events)}
    rows = []
    for stage in stages:
        for step in stage["steps"]:
            done = state["steps"].get(step["id"], OPEN)
            place = by_id.get(done["event"] or "")
            rows.append(
                {"stage": stage["title"], "step": step, **done, "took_ms": _since_last(events, place)}
            )
    return rows


def _since_last(events: Sequence[AnyEvent], place: int | None) -> int | None:
    if not place:
        return None
    took = int(events[place]["elapsed_ms"]) - int(events[place - 1]["elapsed_ms"])
    return took if took >= 0 else None


def plain(code: str, fields: Mapping[str, Any] | None = None) -> str:
    """The sentence of a stored code; a code that an older version wrote and nobody knows any more is shown as
    it is.
    """
    try:
        return say(code, fields or {})
    except NoWordsError:
        return f"{code} {json.dumps(fields or {}, ensure_ascii=False, sort_keys=True)}"


def with_reasons(refusal: DomainError) -> str:
    """The sentence of a refusal, and after it those of the reasons that it lists, if it lists any."""
    listed: Sequence[Finding] = getattr(refusal, "faults", ())
    return " ".join(plain(one.code, one.fields) for one in (refusal.finding(), *listed))


def json_text(value: Any) -> str:
    """A stored value as JSON on one line; nothing for an empty one."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True) if value else ""


FACES = {"left_end": "left end", "right_end": "right end", "front": "front", "back": "back", "top": "top"}
DECISIONS = {"go_on": "go on", "touch_again": "touch again", "break_off": "break off", "redo": "do it again"}
BREAKS = {
    "stop_verdict": "the verdict was stop",
    "machine": "something about the machine",
    "vise": "something about the vise",
    "probe": "something about the probe",
    "out_of_time": "out of time",
    "wrong_slot": "wrong slot",
    "practice": "practice",
    "handed_over": "it was handed over to somebody else",
    "other": "another reason",
}
REFUSED = {
    "wrong_pin": "the PIN was wrong",
    "throttled": "too many tries",
    "not_authorised": "not authorised on this machine at that time",
    "person_disabled": "the person's account was closed",
    "pin_not_changed": "the first PIN had not been changed",
    "seal_missing": "no sealed PIN came with it",
    "seal_wrong": "the sealed PIN belongs to something else",
}
BECAUSE = {
    "agrees": "it agrees",
    "first": "a first value, nothing to compare with yet",
    "question": "a question was put",
    "lead": "the lead answered: go on",
    "repeat": "a second touch agreed, and a question was put",
}


def in_words(table: Mapping[str, str]) -> Callable[[str | None], str]:
    """A filter that puts a word for a stored code, and shows a code without a word as it is."""
    return lambda code: table.get(code or "", code or "–")


def step_words(step_id: str, sheet: WrittenSheet, slot: str | None) -> str:
    """What a step asks to do, as its sheet says it, without the full stop;
    its id where the sheet has no such step.
    """
    steps = planned_steps(sheet).values()
    do = next((step["do"] for step in steps if step["id"] == step_id), step_id)
    return str(do).replace("{slot}", slot or "the slot").removesuffix(".")


def kinds_of_cause() -> dict[str, str]:
    """What each cause that can be named is called in a list to choose from, by its code."""
    kind = "kind_of_cause."
    return {code.removeprefix(kind): said for code, said in catalogue().items() if code.startswith(kind)}


FILTERS: dict[str, Callable[..., str]] = {
    "span": span,
    "apart": apart,
    "tojson_text": json_text,
    "face": in_words(FACES),
    "worry": lambda kind: plain(f"worry.{kind}"),
    "decision": in_words(DECISIONS),
    "break_reason": in_words(BREAKS),
    "because": in_words(BECAUSE),
    "refused_because": in_words(REFUSED),
    "step_words": step_words,
    "unit_word": unit_word,
}
