"""What is typed and what is shown, exactly; the vectors are shared with the browser."""

from __future__ import annotations

import json
import math
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.length_errors import (
    DisplayNotExactError,
    HalfWidthNotANumberError,
    LengthAmbiguousCommaError,
    LengthBeyondTravelError,
    LimitsReversedError,
    NumberAmbiguousCommaError,
)
from webapp.domain.plain.lengths import (
    Display,
    Unit,
    check_comma,
    could_be_thousands,
    format_length,
    format_other_unit,
    looks_like_other_unit,
    parse_length,
    round_inward_nm,
)
from webapp.words import say

VECTORS: dict[str, Any] = json.loads(
    (Path(__file__).parent.parent / "vectors" / "lengths.json").read_text(encoding="utf-8")
)
TEN_KM_NM = 10**13

displays = st.one_of(
    st.builds(Display, st.just(Unit.MM), st.integers(0, 6)),
    st.builds(Display, st.just(Unit.INCH), st.integers(0, 5)),
)
values_nm = st.integers(-9 * 10**12, 9 * 10**12)


def display_of(case: dict[str, Any]) -> Display:
    return Display(Unit(case["unit"]), case["decimals"])


def name_of(case: dict[str, Any]) -> str:
    return f"{case['typed']!a} in {case['unit']} {case['decimals']}"


@pytest.mark.parametrize("case", [c for c in VECTORS["parse"] if "error" not in c], ids=name_of)
def test_a_typed_length_is_taken_exactly(case: dict[str, Any]) -> None:
    taken = parse_length(case["typed"], display_of(case), case["low_nm"], case["high_nm"])
    assert taken == case["value_nm"]


@pytest.mark.parametrize("case", [c for c in VECTORS["parse"] if "error" not in c], ids=name_of)
def test_the_expected_values_agree_with_decimal_arithmetic(case: dict[str, Any]) -> None:
    text = case["typed"].strip().replace("−", "-").replace(",", ".")
    unit_nm = Decimal(1_000_000) if case["unit"] == "mm" else Decimal("25.4") * 1_000_000
    assert Decimal(text) * unit_nm == case["value_nm"]


@pytest.mark.parametrize("case", [c for c in VECTORS["parse"] if "error" in c], ids=name_of)
def test_a_length_that_cannot_be_taken_is_refused_by_name(case: dict[str, Any]) -> None:
    with pytest.raises(DomainError) as refused:
        parse_length(case["typed"], display_of(case), case["low_nm"], case["high_nm"])
    assert refused.value.code == case["error"]
    assert refused.value.fields == case["fields"]
    assert "{" not in say(refused.value.code, refused.value.fields)


def test_the_vectors_reach_every_refusal_of_a_typed_length() -> None:
    reached = {case["error"] for case in VECTORS["parse"] if "error" in case}
    assert reached == {
        "length.empty",
        "length.exponent",
        "length.letters",
        "length.blank_inside",
        "length.more_than_one_sign",
        "length.sign_not_first",
        "length.more_than_one_separator",
        "length.no_digits",
        "length.too_many_decimals",
        "length.ambiguous_comma",
        "length.beyond_travel",
        "length.beyond_travel_other_unit",
    }
    assert len(VECTORS["parse"]) >= 120


@pytest.mark.parametrize("case", VECTORS["format"], ids=lambda c: f"{c['value_nm']} {c['text']!a}")
def test_a_length_is_shown_as_the_display_shows_it(case: dict[str, Any]) -> None:
    assert format_length(case["value_nm"], display_of(case), case["sign"]) == case["text"]


@pytest.mark.parametrize("case", VECTORS["format_other_unit"], ids=lambda c: f"{c['value_nm']} {c['text']!a}")
def test_a_length_is_shown_in_the_other_unit(case: dict[str, Any]) -> None:
    assert format_other_unit(case["value_nm"], display_of(case)) == case["text"]


def test_a_comma_behind_one_digit_may_be_either_and_is_asked_about() -> None:
    with pytest.raises(LengthAmbiguousCommaError):
        parse_length("5,123", Display(Unit.MM, 3), -TEN_KM_NM, TEN_KM_NM)


@pytest.mark.parametrize("case", VECTORS["could_be_thousands"], ids=lambda case: ascii(case["typed"]))
def test_a_comma_that_could_part_thousands_is_told_from_a_decimal_one(case: dict[str, Any]) -> None:
    assert could_be_thousands(case["typed"]) is case["holds"]


def test_a_number_without_limits_is_refused_with_both_readings_as_they_would_be_typed() -> None:
    with pytest.raises(NumberAmbiguousCommaError) as refused:
        check_comma(" -1,016 ")
    readings = {"typed": "-1,016", "as_decimal": "-1.016", "as_thousands": "-1016"}
    assert refused.value.fields == readings
    assert all(one in say(refused.value.code, refused.value.fields) for one in readings.values())


@pytest.mark.parametrize("case", VECTORS["looks_like_other_unit"])
def test_a_value_in_the_other_unit_is_asked_about(case: dict[str, Any]) -> None:
    found = looks_like_other_unit(case["value_nm"], display_of(case), case["centre_nm"], case["stop_nm"])
    if case["finding"] is None:
        assert found is None
    else:
        assert found is not None
        assert {"code": found.code, "fields": found.fields} == case["finding"]
        assert "inches and millimetres" in say(found.code, found.fields)


@pytest.mark.parametrize("case", VECTORS["round_inward"])
def test_a_half_width_is_rounded_inward(case: dict[str, Any]) -> None:
    assert round_inward_nm(case["half_width_nm"], display_of(case)) == case["nm"]


@pytest.mark.parametrize(("unit", "decimals"), [(Unit.MM, 7), (Unit.INCH, 6), (Unit.MM, -1), (Unit.INCH, -1)])
def test_a_display_without_an_exact_step_is_refused(unit: Unit, decimals: int) -> None:
    with pytest.raises(DisplayNotExactError) as refused:
        Display(unit, decimals)
    assert refused.value.fields["most"] == unit.most_decimals


@pytest.mark.parametrize(
    ("unit", "decimals", "resolution_nm"),
    [
        (Unit.MM, 0, 1000000),
        (Unit.MM, 3, 1000),
        (Unit.MM, 6, 1),
        (Unit.INCH, 0, 25400000),
        (Unit.INCH, 4, 2540),
        (Unit.INCH, 5, 254),
    ],
)
def test_the_step_of_a_display_is_a_whole_number_of_nanometres(
    unit: Unit, decimals: int, resolution_nm: int
) -> None:
    assert Display(unit, decimals).resolution_nm == resolution_nm


def test_a_display_takes_its_unit_as_plain_text_too() -> None:
    assert Display("in", 4) == Display(Unit.INCH, 4)  # type: ignore[arg-type]


def test_a_display_with_an_unknown_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="cubit"):
        Display("cubit", 1)  # type: ignore[arg-type]


@pytest.mark.parametrize(("low_nm", "high_nm"), [(1, 0), (0, TEN_KM_NM + 1), (-TEN_KM_NM - 1, 0)])
def test_limits_that_cannot_be_are_refused(low_nm: int, high_nm: int) -> None:
    with pytest.raises(LimitsReversedError):
        parse_length("0", Display(Unit.MM, 3), low_nm, high_nm)


@pytest.mark.parametrize("half_width_nm", [-0.001, math.nan, math.inf, -math.inf])
def test_a_half_width_that_is_none_is_refused(half_width_nm: float) -> None:
    with pytest.raises(HalfWidthNotANumberError):
        round_inward_nm(half_width_nm, Display(Unit.MM, 3))


def shown_nm(value_nm: int, display: Display) -> int:
    """What a value is when it is typed as it is shown."""
    return parse_length(format_length(value_nm, display), display, -TEN_KM_NM, TEN_KM_NM)


@given(values_nm, displays)
def test_rounding_agrees_with_decimal_arithmetic(value_nm: int, display: Display) -> None:
    steps = (Decimal(value_nm) / display.resolution_nm).quantize(Decimal(1), ROUND_HALF_EVEN)
    assert shown_nm(value_nm, display) == int(steps) * display.resolution_nm


@given(values_nm, displays)
def test_rounding_moves_a_value_by_half_a_step_at_most(value_nm: int, display: Display) -> None:
    assert 2 * abs(shown_nm(value_nm, display) - value_nm) <= display.resolution_nm


@given(values_nm, displays)
def test_a_value_and_its_mirror_image_look_alike_but_for_the_sign(value_nm: int, display: Display) -> None:
    assert format_length(value_nm, display).lstrip("+−") == format_length(-value_nm, display).lstrip("+−")


@given(values_nm, values_nm, displays)
def test_rounding_keeps_the_order(one_nm: int, other_nm: int, display: Display) -> None:
    low, high = sorted((one_nm, other_nm))
    assert shown_nm(low, display) <= shown_nm(high, display)


@given(st.integers(-(10**9), 10**9), st.integers(-(10**5), 10**5), displays)
def test_adding_whole_even_steps_moves_a_value_by_just_that(
    value_nm: int, steps: int, display: Display
) -> None:
    constant_nm = 2 * steps * display.resolution_nm
    assert shown_nm(value_nm + constant_nm, display) == (shown_nm(value_nm, display) + constant_nm)


@given(st.integers(-3_999_999, 3_999_999))
def test_an_inch_value_is_the_same_length_when_typed_in_millimetres(ten_thousandths: int) -> None:
    inches = Decimal(ten_thousandths).scaleb(-4)
    low, high = -TEN_KM_NM, TEN_KM_NM
    in_inches = parse_length(f"{inches:f}", Display(Unit.INCH, 4), low, high)
    in_millimetres = parse_length(f"{inches * Decimal('25.4'):f}", Display(Unit.MM, 6), low, high)
    assert in_inches == in_millimetres


@given(st.floats(0, 1e9), displays)
def test_rounding_inward_never_widens_and_costs_less_than_a_step(half_width: float, display: Display) -> None:
    rounded = round_inward_nm(half_width, display)
    assert rounded % display.resolution_nm == 0
    assert rounded <= Fraction(half_width) < rounded + display.resolution_nm
    exact = (Decimal(half_width) / display.resolution_nm).to_integral_value(ROUND_FLOOR)
    assert rounded == int(exact) * display.resolution_nm


@given(st.text(alphabet="0123456789.,+-−eE \t\u00a0a", max_size=12), displays)
def test_whatever_is_typed_gives_a_value_inside_the_limits_or_a_named_error(
    text: str, display: Display
) -> None:
    low, high = -762_000_000, 25_400_000
    refusal: DomainError | None = None
    value_nm = 0
    try:
        value_nm = parse_length(text, display, low, high)
    except DomainError as error:
        refusal = error
    assert low <= value_nm <= high
    assert value_nm % display.resolution_nm == 0
    if refusal is not None:
        assert refusal.code.startswith("length.")
        assert "{" not in say(refusal.code, refusal.fields)


@given(st.integers(-30 * 10**4, 30 * 10**4).filter(bool), st.integers(0, 10**5))
def test_a_value_read_in_inches_on_a_millimetre_display_is_found(ten_thousandths: int, stop_nm: int) -> None:
    centre_nm = ten_thousandths * 2540
    typed_nm = ten_thousandths * 100
    found = looks_like_other_unit(typed_nm, Display(Unit.MM, 4), centre_nm, stop_nm)
    assert (found is None) == (abs(typed_nm - centre_nm) <= stop_nm)


def test_no_product_formed_here_leaves_the_range_that_a_browser_counts_exactly() -> None:
    assert 127 * TEN_KM_NM < 2**53
    assert 5 * 9_999_999.99999 * 25_400_000 < 2**53
    with pytest.raises(LengthBeyondTravelError):
        parse_length("9" * 5000, Display(Unit.MM, 3), -TEN_KM_NM, TEN_KM_NM)
