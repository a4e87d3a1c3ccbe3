"""A procedure is published with all that a record proves, or refused with every reason."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import FrozenInstanceError, asdict, replace
from typing import Any

import pytest

from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.procedure.procedure import (
    Caution,
    Check,
    Choice,
    Procedure,
    ProcedureRefusedError,
    ProcedureShapeError,
    Revision,
    RevisionChangedError,
    Stage,
    Step,
    Variant,
    procedure_from_json,
    publish,
)
from webapp.domain.procedure.rules import STAGES
from webapp.domain.procedure.shipped import NOTICE, SHIPPED
from webapp.words import catalogue, say


def without(kind: str) -> Procedure:
    return changed_steps(lambda step: None if step.kind == kind else step)


def changed_steps(change: Callable[[Step], Step | None]) -> Procedure:
    """The shipped procedure with every step replaced; stages that lose all their steps go too."""
    stages = []
    for stage in SHIPPED.stages:
        steps = tuple(new for step in stage.steps if (new := change(step)) is not None)
        if steps:
            stages.append(replace(stage, steps=steps))
    return replace(SHIPPED, stages=tuple(stages))


def changed_step(step_id: str, **changes: Any) -> Procedure:
    return changed_steps(lambda step: replace(step, **changes) if step.id == step_id else step)


def codes(procedure: Procedure) -> list[str]:
    with pytest.raises(ProcedureRefusedError) as refused:
        publish(procedure)
    for fault in refused.value.faults:
        assert say(fault.code, fault.fields)
    return [fault.code for fault in refused.value.faults]


def moved(stage: str, to: int) -> Procedure:
    stages = [one for one in SHIPPED.stages if one.id != stage]
    stages.insert(to, next(one for one in SHIPPED.stages if one.id == stage))
    return replace(SHIPPED, stages=tuple(stages))


def test_the_shipped_procedure_can_be_published() -> None:
    assert publish(SHIPPED).procedure is SHIPPED


def test_the_shipped_procedure_has_the_eleven_stages_in_order() -> None:
    assert tuple(stage.id for stage in SHIPPED.stages) == STAGES


def test_the_shipped_procedure_is_no_longer_than_a_person_reads() -> None:
    always = [step for step in SHIPPED.steps if not step.when]
    assert len(always) == 34
    assert {step.when for step in SHIPPED.steps if step not in always} == {"square"}
    assert all(len(stage.steps) <= 9 for stage in SHIPPED.stages)


def test_every_sentence_of_the_shipped_procedure_is_short() -> None:
    for step in SHIPPED.steps:
        for text in (step.do, step.look_for, step.why, step.if_not, step.machine_state):
            for sentence in text.replace("?", ".").split(". "):
                assert len(sentence.split()) <= 20, (step.id, sentence)


def test_no_button_of_the_shipped_procedure_is_named_like_a_machine_control() -> None:
    for step in SHIPPED.steps:
        labels = [step.action, *(choice.label for choice in step.choices)]
        for label in labels:
            words = set(label.lower().replace(",", "").split())
            assert not words & {"start", "stop", "cycle", "run", "reset", "emergency", "e-stop", "hold"}, (
                step.id
            )


def test_the_notice_says_what_prevails_and_what_this_is_not() -> None:
    for part in (
        "manual",
        "shop's rules",
        "local codes",
        "qualified persons",
        "not a safeguard",
        "lockout record",
    ):
        assert part in NOTICE
    for standard in ("ISO 16090-1", "ISO 12100", "ANSI B11.0"):
        assert standard in NOTICE


@pytest.mark.parametrize("kind", ["caution", "slot", "copy", "compare", "tool_out", "finish", "sign"])
def test_what_the_record_proves_cannot_be_left_out(kind: str) -> None:
    assert f"procedure.no_{kind}" in codes(without(kind))


def test_at_least_one_touch_is_needed() -> None:
    stages = tuple(stage for stage in SHIPPED.stages if stage.id not in {"x", "y", "z"})
    assert "procedure.no_touch" in codes(replace(SHIPPED, stages=stages))


def test_one_axis_is_enough() -> None:
    stages = tuple(stage for stage in SHIPPED.stages if stage.id not in {"x", "y"})
    assert publish(replace(SHIPPED, stages=stages)).hash


@pytest.mark.parametrize("kind", ["board", "clear", "tool_in"])
def test_a_shop_may_leave_out_what_the_record_does_not_prove(kind: str) -> None:
    assert publish(without(kind)).hash


def test_every_reason_is_named_at_once() -> None:
    bare = Procedure("bare", "Bare", "en", ())
    assert {
        f"procedure.no_{kind}" for kind in ("caution", "slot", "copy", "touch", "compare", "tool_out")
    } <= set(codes(bare))


@pytest.mark.parametrize(
    ("step_id", "changes", "code"),
    [
        ("x.touch", {"machine_state": " "}, "procedure.machine_state_empty"),
        ("x.touch", {"why": ""}, "procedure.text_empty"),
        ("x.touch", {"action": ""}, "procedure.text_empty"),
        ("x.touch", {"do": "one two three four five six seven eight nine ten eleven twelve thirteen"},
         "procedure.do_too_long"),
        ("stow.up", {"look_for": "Now it is safe."}, "procedure.says_safe"),
        ("stow.up", {"look_for": "Safely up."}, "procedure.says_safe"),
        ("stow.up", {"do": "Raise {height}."}, "procedure.placeholder_unknown"),
        ("stow.up", {"do": "Raise {axis}."}, "procedure.placeholder_unknown"),
        ("stow.up", {"do": "Raise {."}, "procedure.placeholder_unknown"),
        ("stow.up", {"kind": "dance"}, "procedure.kind_unknown"),
        ("stow.up", {"id": "up"}, "procedure.step_id"),
        ("stow.up", {"id": "sign.up"}, "procedure.step_id"),
        ("stow.up", {"id": "stow.away"}, "procedure.step_twice"),
        ("stow.up", {"kind": "tool_out"}, "procedure.kind_twice"),
        ("stow.up", {"kind": "sign"}, "procedure.sign_stage"),
        ("stow.up", {"kind": "search"}, "procedure.step_outside_axis"),
        ("vise.bring", {"kind": "tool_out"}, "procedure.stow_stage"),
        ("x.search", {"axis": "Y"}, "procedure.step_axis"),
        ("x.search", {"axis": None}, "procedure.step_axis"),
        ("vise.bring", {"axis": "X"}, "procedure.step_axis"),
        ("x.search", {"kind": "confirm"}, "procedure.axis_stage"),
        ("ready.stop", {"caution": None}, "procedure.caution_misplaced"),
        ("stow.gone", {"choices": (Choice("a", "A", False),)}, "procedure.no_closing_choice"),
        ("stow.gone", {"choices": (Choice("a", "A"), Choice("a", "B"))}, "procedure.choice"),
        ("stow.gone", {"choices": (Choice("a", " "),)}, "procedure.choice"),
        ("stow.gone", {"choices": (Choice("a", "Quite safe"),)}, "procedure.says_safe"),
        ("ready.board", {"choices": ()}, "procedure.board_choices"),
        ("x.touch", {"choices": (Choice("a", "A"),)}, "procedure.choice_misplaced"),
        ("vise.open", {"choices": (Choice("back", "Back"), Choice("front", "Front"))},
         "procedure.jaw_choices"),
        ("ready.state", {"checks": ()}, "procedure.checks"),
        ("ready.state", {"checks": tuple(Check(f"c{n}", "C") for n in range(7))}, "procedure.checks"),
        ("ready.state", {"checks": (Check("a", "A"), Check("a", "B"))}, "procedure.checks"),
        ("ready.state", {"checks": (Check("a", "Safe now"),)}, "procedure.says_safe"),
        ("vise.wipe", {"checks": (Check("a", "A"),)}, "procedure.checks"),
        ("vise.wipe", {"once_a_shift": True}, "procedure.shift_misplaced"),
        ("vise.wipe", {"when": "full_moon"}, "procedure.condition_unknown"),
        ("vise.wipe", {"variants": (Variant("full_moon"),)}, "procedure.condition_unknown"),
        ("vise.wipe", {"variants": (Variant("practised"),)}, "procedure.condition_unknown"),
        ("ready.stop", {"when": "door:none"}, "procedure.must_stand"),
        ("slot.own", {"when": "warm_up"}, "procedure.must_stand"),
        ("y.search", {"when": "jog:wheel"}, "procedure.must_stand"),
        ("x.touch", {"when": "single_block"}, "procedure.must_stand"),
        ("x.compare", {"when": "single_block"}, "procedure.must_stand"),
        ("stow.away", {"when": "changer:arm"}, "procedure.must_stand"),
        ("vise.open", {"when": "practised"}, "procedure.condition_unknown"),
        ("vise.open", {"variants": (Variant("practised", do="A"), Variant("practised", do="B"))},
         "procedure.practised_twice"),
        ("vise.open", {"variants": (Variant("practised", why="Because."),)}, "procedure.practised_part"),
        ("vise.open", {"variants": (Variant("practised", machine_state="Moves."),)},
         "procedure.practised_part"),
        ("vise.open", {"variants": (Variant("practised", hands=False),)}, "procedure.practised_part"),
        ("vise.wipe", {"variants": (Variant("warm_up", do="a b c d e f g h i j k l m"),)},
         "procedure.do_too_long"),
        ("vise.wipe", {"variants": (Variant("warm_up", why="It is safe."),)}, "procedure.says_safe"),
        ("x.over", {"kind": "confirm"}, "procedure.search_without_over"),
        ("y.square_over", {"kind": "confirm"}, "procedure.search_without_over"),
        ("probe.modes", {"hands": True}, "procedure.hands_with_probe"),
        ("x.lower", {"variants": (Variant("warm_up", hands=True),)}, "procedure.hands_with_probe"),
        ("vise.wipe", {"kind": "over"}, "procedure.step_outside_axis"),
        ("vise.wipe", {"photo": "The vise as it was found here"}, "procedure.photo_too_long"),
        ("vise.wipe", {"photo": "Safe to use"}, "procedure.says_safe"),
        ("vise.wipe", {"photo": "The {height}"}, "procedure.placeholder_unknown"),
        ("x.search", {"photo": "The ball"}, "procedure.photo_misplaced"),
        ("x.lower", {"photo": "The ball"}, "procedure.photo_misplaced"),
        ("probe.load", {"photo": "The probe"}, "procedure.photo_misplaced"),
        ("stow.away", {"photo": "The probe"}, "procedure.photo_misplaced"),
    ],
)  # fmt: skip
def test_a_fault_in_a_step_is_named(step_id: str, changes: dict[str, Any], code: str) -> None:
    assert code in codes(changed_step(step_id, **changes))


def test_what_the_record_proves_may_have_other_words_under_a_condition_and_others_may_fall_away() -> None:
    assert publish(changed_step("slot.own", variants=(Variant("warm_up", do="Read the slot."),))).hash
    assert publish(changed_step("vise.wipe", when="warm_up")).hash


def with_caution(**changes: str) -> Procedure:
    def change(step: Step) -> Step:
        if step.id != "ready.machine":
            return step
        assert step.caution is not None
        return replace(step, caution=replace(step.caution, **changes))

    return changed_steps(change)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"signal": "attention"}, "procedure.signal_unknown"),
        ({"signal": "WARNING"}, "procedure.signal_unknown"),
        ({"signal": "notice"}, "procedure.signal_notice"),
        (
            {"signal": "notice", "hazard": "Moves.", "consequence": "It cuts your hand."},
            "procedure.signal_notice",
        ),
        ({"signal": "danger"}, "procedure.signal_danger"),
        ({"signal": "caution"}, "procedure.signal_caution"),
        ({"signal": "caution", "consequence": "The vise could be scratched."}, "procedure.signal_caution"),
        ({"signal": "warning", "consequence": "The vise is scratched."}, "procedure.signal_warning"),
        ({"avoidance": ""}, "procedure.text_empty"),
        ({"avoidance": "Then it is safe."}, "procedure.says_safe"),
        ({"id": "Door 1"}, "procedure.caution_id"),
        ({"id": "stop"}, "procedure.caution_twice"),
    ],
)
def test_a_signal_word_is_used_as_it_is_defined(changes: dict[str, str], code: str) -> None:
    assert code in codes(with_caution(**changes))


@pytest.mark.parametrize(
    ("signal", "consequence"),
    [
        ("danger", "It will kill or seriously injure you."),
        ("warning", "It could kill you."),
        ("caution", "It could bruise your hand."),
    ],
)
def test_a_signal_word_that_fits_is_taken(signal: str, consequence: str) -> None:
    assert publish(with_caution(signal=signal, consequence=consequence)).hash


def test_a_notice_about_property_is_taken() -> None:
    assert publish(
        with_caution(signal="notice", hazard="The search runs on.", consequence="The stylus breaks.")
    ).hash


@pytest.mark.parametrize(
    ("stage", "to", "code"),
    [
        ("ready", 5, "procedure.order"),
        ("probe", 8, "procedure.order"),
        ("slot", 5, "procedure.order"),
        ("copy", 5, "procedure.order"),
        ("clear", 8, "procedure.order"),
        ("stow", 5, "procedure.order"),
        ("x", 10, "procedure.ends_otherwise"),
        ("vise", 7, "procedure.axes_apart"),
        ("vise", 2, "procedure.hands_with_probe"),
    ],
)
def test_an_order_in_which_the_steps_prove_nothing_is_refused(stage: str, to: int, code: str) -> None:
    assert code in codes(moved(stage, to))


@pytest.mark.parametrize(("stage", "to"), [("vise", 0), ("z", 8), ("y", 6)])
def test_an_order_that_proves_the_same_is_taken(stage: str, to: int) -> None:
    assert publish(moved(stage, to)).hash


def test_stages_are_the_known_ones_once_each_and_not_empty() -> None:
    stages = SHIPPED.stages
    odd = Stage("lunch", "", "Lunch", ())
    found = codes(replace(SHIPPED, stages=(odd, stages[0], *stages)))
    assert {
        "procedure.stage_unknown",
        "procedure.stage_twice",
        "procedure.stage_empty",
        "procedure.stage_unnamed",
    } <= set(found)


def test_every_reason_has_words() -> None:
    assert {"procedure.refused", "procedure.shape", "procedure.revision_changed"} <= catalogue().keys()


def test_a_revision_is_named_by_its_text_and_comes_back_from_it() -> None:
    revision = publish(SHIPPED)
    assert Revision.from_text(revision.text, revision.hash) == revision
    assert publish(changed_step("x.touch", why="Another reason.")).hash != revision.hash


def test_a_published_text_that_was_changed_is_refused() -> None:
    revision = publish(SHIPPED)
    with pytest.raises(RevisionChangedError):
        Revision.from_text(revision.text.replace("raise Z", "lower Z"), revision.hash)


def test_a_revision_cannot_be_changed_in_place() -> None:
    with pytest.raises(FrozenInstanceError):
        publish(SHIPPED).text = ""  # type: ignore[misc]


@pytest.mark.parametrize(
    ("change", "part", "field"),
    [
        (lambda data: data.pop("title"), "procedure", "title"),
        (lambda data: data.update(extra=1), "procedure", "extra"),
        (lambda data: data.update(stages={}), "procedure", "stages"),
        (lambda data: data["stages"].append(3), "stage", ""),
        (lambda data: data["stages"][0].update(short=None), "stage", "short"),
        (lambda data: data["stages"][0]["steps"][0].update(do=3), "step", "do"),
        (lambda data: data["stages"][0]["steps"][0].update(axis=3), "step", "axis"),
        (lambda data: data["stages"][0]["steps"][0]["caution"].pop("hazard"), "caution", "hazard"),
        (lambda data: data["stages"][0]["steps"][3]["choices"][0].update(closes="no"), "choice", "closes"),
        (lambda data: data["stages"][0]["steps"][4]["checks"][0].pop("label"), "check", "label"),
        (lambda data: data["stages"][0]["steps"][0]["variants"][0].update(hands=1), "variant", "hands"),
        (lambda data: data["stages"][0]["steps"][0].update(hands="no"), "step", "hands"),
    ],
)
def test_a_procedure_of_another_shape_is_refused(
    change: Callable[[dict[str, Any]], object], part: str, field: str
) -> None:
    data = json.loads(canonical_text(asdict(SHIPPED)))
    change(data)
    with pytest.raises(ProcedureShapeError) as refused:
        procedure_from_json(json.dumps(data).encode())
    assert refused.value.fields == {"part": part, "field": field}


def test_a_caution_is_a_panel_of_three_parts() -> None:
    panels = [step.caution for step in SHIPPED.steps if step.caution]
    assert all(
        isinstance(panel, Caution) and panel.hazard and panel.consequence and panel.avoidance
        for panel in panels
    )
    assert len(panels) == 3


def test_a_text_from_before_lists_and_conditions_is_read_as_it_was() -> None:
    data = json.loads(canonical_text(asdict(SHIPPED)))
    for stage in data["stages"]:
        for step in stage["steps"]:
            for later in ("checks", "hands", "once_a_shift", "when", "variants", "photo"):
                del step[later]
    steps = procedure_from_json(json.dumps(data).encode()).steps
    assert all((step.checks, step.hands, step.when, step.variants) == ((), False, "", ()) for step in steps)


def test_the_shipped_procedure_offers_a_picture_before_and_after_and_while_nothing_moves() -> None:
    offered = {step.id: step.photo for step in SHIPPED.steps if step.photo}
    assert offered == {"vise.wipe": "The vise as found", "stow.gone": "The probe as left"}


def test_hands_go_in_before_the_probe_is_there_and_then_only_to_nudge_it() -> None:
    kinds = {step.id: step.kind for step in SHIPPED.steps if step.hands}
    assert kinds == {
        "vise.open": "jaw",
        "vise.wipe": "confirm",
        "vise.bare": "confirm",
        "probe.input": "input",
    }
    ids = [step.id for step in SHIPPED.steps]
    assert max(ids.index(one) for one in kinds if kinds[one] != "input") < ids.index("probe.load")


def test_every_touch_is_reached_from_above() -> None:
    for axis in "xyz":
        ids = [step.id for step in SHIPPED.steps if step.id.startswith(axis) and not step.when]
        way = ["over", "search"] if axis == "z" else ["over", "lower", "search"]
        assert ids == [f"{axis}.{name}" for name in (*way, "touch", "compare")]


def test_what_is_read_off_the_control_is_not_given_away_where_it_is_asked() -> None:
    for step in SHIPPED.steps:
        if step.kind in {"tool_in", "tool_out", "slot"}:
            texts = (step.do, step.look_for, step.why, step.if_not, step.action, step.machine_state)
            assert not {"{slot}", "{probe_tool}", "{parking_tool}"} & {
                word for text in texts for word in text.replace(".", " ").split()
            }


def test_whom_to_call_is_not_said_at_every_step() -> None:
    assert "{lead}" not in canonical_text(asdict(SHIPPED))


def test_before_each_search_the_label_of_the_own_slot_is_looked_at() -> None:
    """A touch writes where the control points: what closes a search says that the label stood there."""
    searches = [step for step in SHIPPED.steps if step.kind == "search"]
    assert [step.axis for step in searches] == ["Z", "X", "Y"]
    for step in searches:
        for look_for in (step.look_for, *(one.look_for for one in step.variants if one.look_for)):
            assert "your slot's label" in look_for.lower(), step.id
