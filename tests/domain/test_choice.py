"""What a lead types to choose lines: what is taken, and what each refusal says."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.choice import (
    RAREST_ONE_IN,
    CeilingOutsideError,
    ChoiceError,
    FactorOutsideError,
    OneInNotReadError,
    OneInOutsideError,
    ShareNotBetweenError,
    ShareNotWholeError,
    StopNotRarerError,
    as_typed,
    read_choice,
    read_factor,
    read_one_in,
)
from webapp.domain.usual.usual import LinesChoice

MM, INCH = Display(Unit.MM, 3), Display(Unit.INCH, 4)
GOOD = {"ask": "100", "stop": "1000", "ceiling": "0.5", "factor": ""}


def test_four_texts_make_a_choice() -> None:
    assert read_choice(GOOD, MM).choice == LinesChoice(100, 1000, 500_000, None)
    in_inches = read_choice({**GOOD, "ceiling": "0.0200", "factor": "2,5"}, INCH)
    assert in_inches.choice == LinesChoice(100, 1000, 508_000, 2.5)


def test_a_ceiling_that_reads_as_the_one_that_holds_is_that_one() -> None:
    held = LinesChoice(100, 1000, 500_000)
    shown = as_typed(held, INCH)
    assert shown["ceiling"] == "0.0197"
    assert read_choice(shown, INCH, held).choice == held
    assert read_choice({**shown, "ceiling": "0.0198"}, INCH, held).choice == LinesChoice(100, 1000, 502_920)
    assert read_choice(shown, INCH).choice == LinesChoice(100, 1000, 500_380)


@pytest.mark.parametrize(
    ("typed", "one_in"), [("99 %", 100), ("99.5%", 200), ("99,9 %", 1000), ("50 %", 2), (" 75 ", 75)]
)
def test_how_rare_is_a_number_or_the_share_that_passes(typed: str, one_in: int) -> None:
    assert read_one_in(typed) == one_in


@pytest.mark.parametrize(
    ("typed", "refusal"),
    [
        ("", OneInNotReadError),
        ("often", OneInNotReadError),
        ("-100", OneInNotReadError),
        ("1e3", OneInNotReadError),
        ("%", OneInNotReadError),
        ("١٠٠", OneInNotReadError),
        ("0", OneInOutsideError),
        ("1", OneInOutsideError),
        (str(RAREST_ONE_IN + 1), OneInOutsideError),
        ("99.99999999 %", OneInOutsideError),
        ("10 %", OneInOutsideError),
        ("0 %", ShareNotBetweenError),
        ("100 %", ShareNotBetweenError),
        ("250 %", ShareNotBetweenError),
        ("60 %", ShareNotWholeError),
    ],
)
def test_a_confidence_of_0_or_1_and_one_in_1_are_no_choice(typed: str, refusal: type[ChoiceError]) -> None:
    with pytest.raises(refusal):
        read_one_in(typed)


@pytest.mark.parametrize("stop", ["100", "50", "99 %"])
def test_a_stop_that_is_not_rarer_than_an_ask_is_refused_beside_its_own_field(stop: str) -> None:
    reading = read_choice({**GOOD, "stop": stop}, MM)
    assert reading.choice is None
    assert {name: type(error) for name, error in reading.refused.items()} == {"stop": StopNotRarerError}


@pytest.mark.parametrize("ceiling", ["0", "-0.5", "10.001"])
def test_a_ceiling_lies_above_zero_and_where_a_line_still_sees_something(ceiling: str) -> None:
    reading = read_choice({**GOOD, "ceiling": ceiling}, MM)
    assert isinstance(reading.refused["ceiling"], CeilingOutsideError)


@pytest.mark.parametrize("factor", ["0", "0.99", "10.1", "-2", "nan", "inf", "two", "1.2.3"])
def test_a_coverage_factor_is_a_number_from_1_to_10_or_nothing(factor: str) -> None:
    with pytest.raises(FactorOutsideError):
        read_factor(factor)
    assert read_factor(" ") is None


def test_everything_at_fault_is_named_at_once() -> None:
    reading = read_choice({"ask": "1", "stop": "0 %", "ceiling": "x", "factor": "0"}, MM)
    assert reading.choice is None
    assert set(reading.refused) == {"ask", "stop", "ceiling", "factor"}
    assert set(read_choice({}, MM).refused) == {"ask", "stop", "ceiling"}


@given(
    ask=st.integers(2, 10_000), rarer=st.integers(1, 100_000), steps=st.integers(1, 3_900),
    factor=st.none() | st.integers(1_000, 10_000).map(lambda thousandths: thousandths / 1000),
    display=st.sampled_from([MM, INCH]),
)  # fmt: skip
def test_a_choice_written_out_is_read_back_as_the_same(
    ask: int, rarer: int, steps: int, factor: float | None, display: Display
) -> None:
    choice = LinesChoice(ask, ask + rarer, steps * display.resolution_nm, factor)
    assert read_choice(as_typed(choice, display), display).choice == choice


def test_a_stop_line_is_typed_as_a_length_or_as_how_rare_a_false_stop_is() -> None:
    held = LinesChoice(100, 1000, 500_000, None, 100_000, 10_000, 5)
    typed = as_typed(held, MM)
    assert typed["stop_length"] == "0.100"
    assert read_choice(typed, MM, held).choice == held
    other = read_choice({**typed, "stop_length": "0,25"}, MM, held).choice
    assert other == LinesChoice(100, 1000, 500_000, None, 250_000, 10_000, 5)
    rare = read_choice({**typed, "stop_length": " ", "stop": "2000"}, MM, held).choice
    assert rare == LinesChoice(100, 2000, 500_000, None, None, 10_000, 5)
    for wrong in ("0", "-0.1", "10.001", "a"):
        assert set(read_choice({**typed, "stop_length": wrong}, MM, held).refused) == {"stop_length"}
    assert as_typed(LinesChoice(), MM)["stop_length"] == ""


def test_a_length_that_shows_rounded_in_inches_stays_what_it_is() -> None:
    held = LinesChoice(100, 1000, 500_000, None, 100_000)
    assert as_typed(held, INCH)["stop_length"] == "0.0039"
    assert read_choice(as_typed(held, INCH), INCH, held).choice == held
