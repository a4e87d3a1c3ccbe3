"""A slot is left half set from the copying down until every axis has a kept value, and the record says so."""

from tests.record.made_up import Tale, broken_off, normal
from webapp.domain.record.facts import record_facts
from webapp.domain.setup.fold import fold
from webapp.domain.setup.touching.half_set import missing_axes
from webapp.words import say


def missing(tale: Tale) -> tuple[str, ...]:
    bundle = tale.bundle(sealed=False)
    sheet = bundle.sheet()
    return missing_axes(sheet, fold(sheet, bundle.decoded_events(), bundle.decoded_decisions()))


def begun(until: str) -> Tale:
    tale = Tale()
    tale.start()
    tale.walk(until=until)
    return tale


def test_before_the_old_values_are_copied_down_nothing_is_at_risk() -> None:
    assert missing(begun("copy.values")) == ()


def test_from_the_copying_down_on_every_axis_without_a_kept_value_is_missing() -> None:
    assert missing(begun("clear.values")) == ("X", "Y", "Z")
    assert missing(begun("x.compare")) == ("X", "Y", "Z")
    assert missing(begun("y.search")) == ("Y", "Z")


def test_a_whole_setup_leaves_nothing_missing() -> None:
    assert missing(normal()) == ()


def test_the_record_of_a_broken_off_setup_says_which_slot_it_left_half_set() -> None:
    facts = record_facts(broken_off().bundle(), final=True)
    assert facts.half_set is not None
    assert say(facts.half_set.code, facts.half_set.fields) == (
        "Half set: G56 was left without a value for X, Y, Z. Run no program with it before it is set again."
    )


def test_a_whole_record_and_one_of_a_setup_that_still_runs_say_nothing_of_it() -> None:
    assert record_facts(normal().bundle(), final=True).half_set is None
    assert record_facts(begun("y.search").bundle(sealed=False), final=False).half_set is None
