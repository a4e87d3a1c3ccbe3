"""Lengths against NIST SP 811 and the yard agreement; sources stand in data/units_sp811.json."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest

from webapp.domain.plain.lengths import NM_PER_INCH, NM_PER_MM, Display, Unit, format_length, parse_length

FACTS = json.loads((Path(__file__).parent / "data" / "units_sp811.json").read_text(encoding="utf-8"))
KILOMETRE_NM = 10**12


def test_an_inch_is_25_4_millimetres_exactly() -> None:
    assert Fraction(NM_PER_INCH, NM_PER_MM) == Fraction(FACTS["inch_mm"])


def test_36_inches_are_a_yard_and_12_are_a_foot() -> None:
    display = Display(Unit.INCH, 4)
    metre_nm = 10**9
    assert parse_length("36", display, 0, KILOMETRE_NM) == Fraction(FACTS["yard_m"]) * metre_nm
    assert parse_length("12", display, 0, KILOMETRE_NM) == Fraction(FACTS["foot_m"]) * metre_nm


def test_36_feet_are_10_9728_metres() -> None:
    nm = parse_length(str(12 * FACTS["feet"]), Display(Unit.INCH, 4), 0, KILOMETRE_NM)
    assert format_length(nm, Display(Unit.MM, 1), sign=False) == "10972.8"
    assert Fraction(nm, 10**9) == Fraction(FACTS["product_m"])


@pytest.mark.parametrize(
    "case", FACTS["rounding"], ids=lambda case: f"{case['in']} to {case['digits']} digits"
)
def test_rounding_gives_the_printed_examples(case: dict[str, str | int]) -> None:
    # The examples have 7 decimals and a display at most 6,
    # so they are taken ten times as large and shown with one decimal fewer: the digits are the same.
    ten_times_nm = int(Fraction(str(case["in"])) * 10 * NM_PER_MM)
    decimals = int(case["digits"]) - 2
    shown = format_length(ten_times_nm, Display(Unit.MM, decimals), sign=False)
    assert shown.replace(".", "") == str(case["out"]).replace(".", "")
