"""What a procedure must hold before it can be published.

Rules of this module:
- A record proves the cautions, the slot match, the copy-down, at least one touch,
  its comparison and the stow: no revision without them, and none in an order in which they prove nothing.
  Nor may a condition take them away (`standing`), nor how somebody sets up (`company`).
- Signal words by definition only (ANSI Z535.4, ISO 3864-2, from memory): danger will, warning could kill or
  seriously injure; caution could injure slightly or moderately; notice is about property and never about
  injury.
- The machine state before a hand goes in is never empty.
  Between loading the probe and putting it away no hand goes in, but to nudge the stylus.
- Before each search the ball is brought over the face on its own step, with Z up:
  a search without is refused (`ways`).
- A list that is ticked off has at most six lines, a procedure one step at least and 200 at most.
- Only the question which jaw stood still may have other words for whom is practised: nothing else hangs on
  the person, not why it is done, nor what stands still, nor whether hands are inside; and there is one such
  set of words at most.
- A picture is offered only at steps where nothing moves by itself and no hand belongs at feed hold; what it
  shows is said in six words at most, because they stand on a button.
- At most twelve words say what to do (plain language: one action, verb first).
- Nothing is called safe: a list can say what was checked, and no more.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import Fields, Finding
from webapp.domain.plain.taken_words import TAKEN_WORDS
from webapp.domain.procedure.company import company_faults
from webapp.domain.procedure.pictures import picture_faults
from webapp.domain.procedure.profile import CONDITIONS, PRACTISED
from webapp.domain.procedure.standing import REQUIRED, standing_faults
from webapp.domain.procedure.ways import over_faults

if TYPE_CHECKING:
    from webapp.domain.procedure.procedure import Caution, Procedure, Step

STAGES = ("ready", "vise", "probe", "slot", "copy", "clear", "z", "x", "y", "stow", "sign")
AXIS_STAGES = {"x": "X", "y": "Y", "z": "Z"}
KINDS = (
    "caution",
    "board",
    "confirm",
    "checks",
    "jaw",
    "tool_in",
    "input",
    "slot",
    "copy",
    "clear",
    "over",
    "lower",
    "square",
    "search",
    "touch",
    "compare",
    "tool_out",
    "finish",
    "sign",
)
AXIS_KINDS = ("search", "touch", "compare")
IN_AXIS_STAGE = {*AXIS_KINDS, "square", "over", "lower"}
WITH_CHOICES = {"confirm", "search", "over", "lower", "input"}
WITH_PHOTO = {"board", "confirm", "checks", "jaw"}
JAWS = ("back", "front", "left", "right")
MOST_CHECKS = 6
MOST_STEPS = 200
AT_MOST_ONCE = ("board", "jaw", "tool_in", "input", "slot", "copy", "clear", "tool_out", "finish", "sign")
# Every step of the first kind stands before every step of the second.
BEFORE = (
    ("caution", "tool_in"),
    ("caution", "search"),
    ("tool_in", "search"),
    ("tool_in", "input"),
    ("input", "search"),
    ("input", "square"),
    ("jaw", "search"),
    ("slot", "copy"),
    ("copy", "clear"),
    ("copy", "search"),
    ("clear", "search"),
    ("caution", "square"),
    ("tool_in", "square"),
    ("copy", "square"),
    ("clear", "square"),
    ("touch", "tool_out"),
    ("compare", "tool_out"),
    ("tool_out", "finish"),
    ("finish", "sign"),
)
SIGNALS = ("danger", "warning", "caution", "notice")
BOARD_CHOICES = ("clear", "probe_in_spindle", "something_else")
PLACEHOLDERS = {
    "slot",
    "probe_tool",
    "parking_tool",
    "axis",
    "search",
    "probe",
    "fixture",
    "machine",
    "lead",
    "units",
    "door",
    "kept",
    "stop",
    "probe_rule",
    "input_shown",
    "slot_shown",
    "parked",
}
TEXTS = ("do", "look_for", "why", "if_not", "action", "machine_state")
# What of a step may be said otherwise to whom is practised.
PRACTISED_TEXTS = ("do", "look_for", "if_not", "action")
MOST_WORDS_TO_DO = 12
MOST_WORDS_OF_PHOTO = 6

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_SAFE = re.compile(r"\b(safe|safely)\b", re.IGNORECASE)
_ID = re.compile(r"[a-z][a-z0-9_]{0,30}")
_PROCEDURE_ID = re.compile(r"[a-z][a-z0-9-]{0,40}")
_WILL = re.compile(r"\bwill\b", re.IGNORECASE)
_COULD = re.compile(r"\b(could|can|may|might)\b", re.IGNORECASE)
_SEVERE = re.compile(r"\b(kill\w*|death\w*|die|dies|fatal\w*|serious\w*|severe\w*)\b", re.IGNORECASE)
_INJURY = re.compile(
    r"\b(injur\w*|hurt\w*|wound\w*|kill\w*|death\w*|die|dies|fatal\w*|burn\w*|bruis\w*|cuts? (you|your|into "
    r"you)"
    r"|finger\w*|hands?|eyes?|skin|people|person|somebody|someone)\b",
    re.IGNORECASE,
)


def faults(procedure: Procedure) -> tuple[Finding, ...]:
    """Return every reason why this procedure cannot be published, in reading order; empty when it can."""
    return (
        *_size_faults(procedure),
        *_stage_faults(procedure),
        *_kind_faults(procedure),
        *standing_faults(procedure),
        *_order_faults(procedure),
        *over_faults(procedure),
        *company_faults(procedure),
        *_hands_faults(procedure),
        *(fault for step in procedure.steps for fault in _step_faults(step)),
    )


def is_name(text: str) -> bool:
    """Tell whether a step, behind its stage and a point, may be called this."""
    return _ID.fullmatch(text) is not None


def _size_faults(procedure: Procedure) -> Iterator[Finding]:
    count = len(procedure.steps)
    if procedure.id in TAKEN_WORDS or not _PROCEDURE_ID.fullmatch(procedure.id):
        yield Finding("procedure.id", {"id": procedure.id})
    if not count:
        yield Finding("procedure.no_steps")
    if count > MOST_STEPS:
        yield Finding("procedure.too_many_steps", {"count": count, "most": MOST_STEPS})


def _stage_faults(procedure: Procedure) -> Iterator[Finding]:
    for stage_id, count in Counter(stage.id for stage in procedure.stages).items():
        if stage_id not in STAGES:
            yield Finding("procedure.stage_unknown", {"stage": stage_id})
        if count > 1:
            yield Finding("procedure.stage_twice", {"stage": stage_id})
    for stage in procedure.stages:
        if not stage.steps:
            yield Finding("procedure.stage_empty", {"stage": stage.id})
        if not stage.short.strip() or not stage.title.strip():
            yield Finding("procedure.stage_unnamed", {"stage": stage.id})
        for step in stage.steps:
            yield from _place_faults(stage.id, step)
    for step_id, count in Counter(step.id for step in procedure.steps).items():
        if count > 1:
            yield Finding("procedure.step_twice", {"step": step_id})
    for caution, count in Counter(step.caution.id for step in procedure.steps if step.caution).items():
        if count > 1:
            yield Finding("procedure.caution_twice", {"caution": caution})


def _place_faults(stage: str, step: Step) -> Iterator[Finding]:
    before, _, name = step.id.partition(".")
    if before != stage or not _ID.fullmatch(name):
        yield Finding("procedure.step_id", {"step": step.id, "stage": stage})
    axis = AXIS_STAGES.get(stage)
    if step.kind in IN_AXIS_STAGE and axis is None:
        yield Finding("procedure.step_outside_axis", {"step": step.id})
    if step.axis != axis:
        yield Finding(
            "procedure.step_axis", {"step": step.id, "axis": step.axis or "", "expected": axis or ""}
        )
    if step.kind == "tool_out" and stage != "stow":
        yield Finding("procedure.stow_stage", {"step": step.id})
    if (step.kind in {"finish", "sign"}) != (stage == "sign"):
        yield Finding("procedure.sign_stage", {"step": step.id})


def _kind_faults(procedure: Procedure) -> Iterator[Finding]:
    counts = Counter(step.kind for step in procedure.steps)
    for kind in counts.keys() - set(KINDS):
        yield Finding("procedure.kind_unknown", {"kind": kind})
    for kind in REQUIRED:
        if not counts[kind]:
            yield Finding(f"procedure.no_{kind}")
    for kind in AT_MOST_ONCE:
        if counts[kind] > 1:
            yield Finding("procedure.kind_twice", {"kind": kind})
    for stage in procedure.stages:
        kinds = tuple(step.kind for step in stage.steps if step.kind in AXIS_KINDS)
        if stage.id in AXIS_STAGES and kinds != AXIS_KINDS:
            yield Finding("procedure.axis_stage", {"stage": stage.id})
        if not _square_fits(stage.id, [step.kind for step in stage.steps]):
            yield Finding("procedure.square_place", {"stage": stage.id})


def _square_fits(stage: str, kinds: list[str]) -> bool:
    """Tell whether a stage looks for square once at most,
    on a side of the jaw, and before the touch that stands.

    Each touch may write into the slot: the one that counts comes last.
    """
    if "square" not in kinds:
        return True
    first = kinds.index("search") if "search" in kinds else 0
    return (
        AXIS_STAGES.get(stage) in {"X", "Y"} and kinds.count("square") == 1 and kinds.index("square") < first
    )


def _order_faults(procedure: Procedure) -> Iterator[Finding]:
    kinds = [step.kind for step in procedure.steps]
    for first, later in BEFORE:
        if first in kinds and later in kinds:
            last_first = len(kinds) - 1 - kinds[::-1].index(first)
            if last_first > kinds.index(later):
                yield Finding("procedure.order", {"first": first, "later": later})
    stages = [stage.id for stage in procedure.stages]
    if stages[-2:] != ["stow", "sign"]:
        yield Finding("procedure.ends_otherwise")
    places = [place for place, stage in enumerate(stages) if stage in AXIS_STAGES]
    if places and places[-1] - places[0] != len(places) - 1:
        yield Finding("procedure.axes_apart")


def _hands_faults(procedure: Procedure) -> Iterator[Finding]:
    """No hand goes in while the probe is in the spindle, but for the check of its input."""
    kinds = [step.kind for step in procedure.steps]
    if "tool_in" not in kinds or "tool_out" not in kinds:
        return
    for step in procedure.steps[kinds.index("tool_in") + 1 : kinds.index("tool_out")]:
        inside = step.hands or any(variant.hands for variant in step.variants)
        if inside and step.kind != "input":
            yield Finding("procedure.hands_with_probe", {"step": step.id})


def _step_faults(step: Step) -> Iterator[Finding]:
    for name in TEXTS:
        text = getattr(step, name)
        if not text.strip():
            code = "procedure.machine_state_empty" if name == "machine_state" else "procedure.text_empty"
            yield Finding(code, {"step": step.id, "field": name})
        yield from _text_faults(step, name, text)
    yield from _do_faults(step, step.do)
    for variant in step.variants:
        yield from _do_faults(step, variant.do)
        for name in TEXTS:
            yield from _text_faults(step, name, getattr(variant, name))
    parts = (*(one.when for one in step.variants), *(one.when for one in step.checks))
    for condition in (step.when, *parts):
        if condition and condition not in CONDITIONS and not (condition == PRACTISED and _is_personal(step)):
            yield Finding("procedure.condition_unknown", {"step": step.id, "condition": condition})
    yield from _practised_faults(step)
    if step.once_a_shift and step.kind != "caution":
        yield Finding("procedure.shift_misplaced", {"step": step.id})
    yield from _check_faults(step)
    if (step.kind == "caution") != (step.caution is not None):
        yield Finding("procedure.caution_misplaced", {"step": step.id})
    if step.caution is not None:
        yield from _caution_faults(step, step.caution)
    yield from _choice_faults(step)
    yield from _photo_faults(step)
    yield from picture_faults(step)
    yield from _text_faults(step, "picture", step.picture.shows if step.picture else "")


def _is_personal(step: Step) -> bool:
    """Tell whether a step may have words for whom is practised, and has no other part that hangs on that."""
    parts = (step.when, *(check.when for check in step.checks))
    return step.kind == "jaw" and PRACTISED not in parts


def _practised_faults(step: Step) -> Iterator[Finding]:
    """What a sheet has no place for beside the step's own words."""
    said = [variant for variant in step.variants if variant.when == PRACTISED]
    if len(said) > 1:
        yield Finding("procedure.practised_twice", {"step": step.id})
    for variant in said:
        others = [name for name in TEXTS if name not in PRACTISED_TEXTS and getattr(variant, name)]
        for name in (*others, *(() if variant.hands is None else ("hands",))):
            yield Finding("procedure.practised_part", {"step": step.id, "field": name})


def _do_faults(step: Step, do: str) -> Iterator[Finding]:
    words = len(do.split())
    if words > MOST_WORDS_TO_DO:
        yield Finding("procedure.do_too_long", {"step": step.id, "words": words, "most": MOST_WORDS_TO_DO})


def _check_faults(step: Step) -> Iterator[Finding]:
    ids = [check.id for check in step.checks]
    sound = (
        len(set(ids)) == len(ids)
        and all(map(_ID.fullmatch, ids))
        and all(one.label.strip() for one in step.checks)
    )
    always = [check for check in step.checks if not check.when]
    if (step.kind == "checks") != bool(always) or not sound or len(ids) > MOST_CHECKS:
        yield Finding("procedure.checks", {"step": step.id, "most": MOST_CHECKS})
    for check in step.checks:
        yield from _text_faults(step, "checks", check.label)


def _text_faults(step: Step, name: str, text: str) -> Iterator[Finding]:
    if _SAFE.search(text):
        yield Finding("procedure.says_safe", {"step": step.id, "field": name})
    rest = _PLACEHOLDER.sub("", text)
    unknown = [found for found in _PLACEHOLDER.findall(text) if not _may_hold(step, found)]
    if unknown or "{" in rest or "}" in rest:
        shown = unknown[0] if unknown else "{}"
        yield Finding("procedure.placeholder_unknown", {"step": step.id, "field": name, "placeholder": shown})


def _may_hold(step: Step, placeholder: str) -> bool:
    if placeholder in {"axis", "search"} and step.axis is None:
        return False
    return placeholder in PLACEHOLDERS


def _choice_faults(step: Step) -> Iterator[Finding]:
    ids = [choice.id for choice in step.choices]
    if (
        len(set(ids)) != len(ids)
        or not all(map(_ID.fullmatch, ids))
        or any(not choice.label.strip() for choice in step.choices)
    ):
        yield Finding("procedure.choice", {"step": step.id})
    for choice in step.choices:
        yield from _text_faults(step, "choices", choice.label)
    if step.kind == "board":
        closing = [choice.id for choice in step.choices if choice.closes]
        if sorted(ids) != sorted(BOARD_CHOICES) or closing != ["clear"]:
            yield Finding("procedure.board_choices", {"step": step.id})
    elif step.kind == "jaw":
        if sorted(choice.id for choice in step.choices if choice.closes) != sorted(JAWS):
            yield Finding("procedure.jaw_choices", {"step": step.id})
    elif ids and step.kind not in WITH_CHOICES:
        yield Finding("procedure.choice_misplaced", {"step": step.id})
    elif ids and not any(choice.closes for choice in step.choices):
        yield Finding("procedure.no_closing_choice", {"step": step.id})


def _photo_faults(step: Step) -> Iterator[Finding]:
    if step.photo and step.kind not in WITH_PHOTO:
        yield Finding("procedure.photo_misplaced", {"step": step.id})
    words = len(step.photo.split())
    if words > MOST_WORDS_OF_PHOTO:
        fields: Fields = {"step": step.id, "words": words, "most": MOST_WORDS_OF_PHOTO}
        yield Finding("procedure.photo_too_long", fields)
    yield from _text_faults(step, "photo", step.photo)


def _caution_faults(step: Step, caution: Caution) -> Iterator[Finding]:
    if not _ID.fullmatch(caution.id):
        yield Finding("procedure.caution_id", {"step": step.id})
    for name in ("hazard", "consequence", "avoidance"):
        text = getattr(caution, name)
        if not text.strip():
            yield Finding("procedure.text_empty", {"step": step.id, "field": name})
        yield from _text_faults(step, name, text)
    if caution.signal not in SIGNALS:
        yield Finding("procedure.signal_unknown", {"step": step.id, "signal": caution.signal})
    elif not _signal_fits(caution):
        yield Finding(f"procedure.signal_{caution.signal}", {"step": step.id})


def _signal_fits(caution: Caution) -> bool:
    """Tell whether hazard and consequence say what the signal word means."""
    severe = _SEVERE.search(caution.consequence) is not None
    injury = _INJURY.search(f"{caution.hazard} {caution.consequence}") is not None
    if caution.signal == "danger":
        return severe and _WILL.search(caution.consequence) is not None
    if caution.signal == "warning":
        return severe and _COULD.search(caution.consequence) is not None
    if caution.signal == "caution":
        could = _COULD.search(caution.consequence) is not None
        return injury and not severe and could
    return not injury and not severe
