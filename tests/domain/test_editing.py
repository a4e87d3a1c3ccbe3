"""A procedure changed by one act, marked where it could be plainer, and what differs afterwards."""

from __future__ import annotations

from dataclasses import replace

import pytest

from webapp.domain.procedure import editing
from webapp.domain.procedure.plainness import MOST_WORDS_IN_SENTENCE, actions, marks
from webapp.domain.procedure.procedure import Check, Procedure, ProcedureRefusedError, publish
from webapp.domain.procedure.rules import MOST_STEPS
from webapp.domain.procedure.shipped import SHIPPED
from webapp.words import say


def marked(procedure: Procedure) -> list[str]:
    found = marks(procedure)
    assert all(say(one.code, one.fields) for one in found)
    return [one.code for one in found]


def with_words(step_id: str, **words: str) -> Procedure:
    return editing.with_step(SHIPPED, replace(editing.step_of(SHIPPED, step_id), **words))


def test_the_shipped_procedure_is_marked_nowhere() -> None:
    assert marks(SHIPPED) == ()


def test_a_long_sentence_is_marked_by_its_words_and_two_short_ones_are_not() -> None:
    short = "word " * (MOST_WORDS_IN_SENTENCE - 1) + "word."
    assert marked(with_words("vise.wipe", why=f"{short} {short}")) == []
    assert marked(with_words("vise.wipe", why=f"word {short}")) == ["wording.long_sentence"]


@pytest.mark.parametrize(
    ("do", "count"),
    [
        ("Raise Z to the top, then move over.", 2),
        ("Look from front and side; lower by the wheel.", 2),
        ("Press cycle start, then type the value and call the lead.", 3),
        ("Open the vise. Wipe it. Close it.", 3),
    ],
)
def test_what_a_line_asks_for_is_counted_by_its_clauses(do: str, count: int) -> None:
    assert actions(do) == count
    expected = ["wording.several_actions"] if count > 2 else []
    assert marked(with_words("vise.wipe", do=do)) == expected


def test_a_list_of_six_ticks_is_one_thing_and_of_seven_is_marked() -> None:
    state = editing.step_of(SHIPPED, "ready.state")
    for count, expected in ((6, []), (7, ["wording.many_ticks"])):
        lines = tuple(Check(f"line_{number}", "A line") for number in range(count))
        assert marked(editing.with_step(SHIPPED, replace(state, checks=lines))) == expected


def test_a_missing_if_not_and_a_caution_without_a_part_are_marked() -> None:
    assert marked(with_words("vise.wipe", if_not=" ")) == ["wording.no_if_not"]
    machine = editing.step_of(SHIPPED, "ready.machine")
    assert machine.caution
    bare = replace(machine, caution=replace(machine.caution, avoidance=""))
    assert marked(editing.with_step(SHIPPED, bare)) == ["wording.caution_part"]


def test_a_step_moves_within_its_stage_and_stops_at_its_end() -> None:
    ids = [step.id for step in SHIPPED.stages[0].steps]
    moved = editing.moved_step(SHIPPED, ids[1], -1)
    assert [step.id for step in moved.stages[0].steps] == [ids[1], ids[0], *ids[2:]]
    assert editing.moved_step(moved, ids[1], -1) == moved
    stages = [stage.id for stage in editing.moved_stage(SHIPPED, "vise", -1).stages]
    assert stages[:2] == ["vise", "ready"]


def test_a_new_step_is_refused_under_a_name_that_is_taken_and_beyond_the_most() -> None:
    added = editing.with_new_step(SHIPPED, "vise", "level", "confirm")
    assert added.stages[1].steps[-1].id == "vise.level"
    for stage, name, kind, code in (
        ("vise", "wipe", "confirm", "editing.step_name"),
        ("vise", "No name", "confirm", "editing.step_name"),
        ("vise", "level", "dance", "editing.step_kind"),
    ):
        with pytest.raises(editing.EditError) as refused:
            editing.with_new_step(SHIPPED, stage, name, kind)
        assert refused.value.code == code
    full = SHIPPED
    for number in range(MOST_STEPS - len(SHIPPED.steps)):
        full = editing.with_new_step(full, "vise", f"more_{number}", "confirm")
    with pytest.raises(editing.TooManyStepsError):
        editing.with_new_step(full, "vise", "one_more", "confirm")


def test_a_procedure_of_no_steps_or_of_five_hundred_is_refused_with_the_reason() -> None:
    vise = SHIPPED.stages[1]
    many = tuple(replace(vise.steps[1], id=f"vise.wipe_{number}") for number in range(500))
    for procedure, code in (
        (replace(SHIPPED, stages=()), "procedure.no_steps"),
        (replace(SHIPPED, stages=(replace(vise, steps=many),)), "procedure.too_many_steps"),
    ):
        with pytest.raises(ProcedureRefusedError) as refused:
            publish(procedure)
        first = refused.value.faults[0]
        assert first.code == code
        assert say(first.code, first.fields)


def test_what_differs_names_each_step_with_old_and_new_words() -> None:
    after = editing.without_step(with_words("vise.wipe", do="Wipe the jaw."), "vise.bare")
    after = editing.moved_step(editing.with_new_step(after, "vise", "level", "confirm"), "vise.wipe", -1)
    found = editing.differences(SHIPPED, after)
    assert [one.code for one in found] == [
        "change.step_out", "change.field", "change.step_in", "change.order",
    ]  # fmt: skip
    old = editing.step_of(SHIPPED, "vise.wipe").do
    assert found[1].fields == {"step": "vise.wipe", "field": "do", "old": old, "new": "Wipe the jaw."}
    assert all(say(one.code, one.fields) for one in found)
    assert editing.differences(SHIPPED, SHIPPED) == ()
