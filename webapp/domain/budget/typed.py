"""What a lead types into an uncertainty budget, and what is taken of it.

Rules of this module:
- A value is a length in the machine's unit, to the finest step of that unit, zero or more, at most 10 mm:
  beyond that it is no uncertainty of a touch (common practice, no source).
- A confidence is typed as a share ("0.95") or in percent ("95 %") and lies strictly between 0 and 1;
  below a half a budget says nothing that anyone asks for.
- Degrees of freedom are empty (known exactly) or a number above zero.
- A point or a comma stands before decimals; exponents, blanks inside and signs where none belong are refused.
"""

from __future__ import annotations

import re
from decimal import Decimal

from webapp.domain.budget.lines import CONFIDENCES, THERMAL, LeadLine
from webapp.domain.budget.uncertainty import ConfidenceNotBetweenError, Distribution
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.length_errors import LengthError
from webapp.domain.plain.lengths import Display, Unit, check_comma, format_length, parse_length

LARGEST_NM = 10_000_000
LARGEST_SPAN_NM = 10_000_000_000
LARGEST_NUMBER = Decimal(1_000_000)
LONGEST_NAME, LONGEST_SOURCE, LONGEST_SHOWN = 60, 300, 40
_NUMBER = re.compile(r"[0-9]{1,9}([.,][0-9]{1,9})?")
_CONFIDENCE = re.compile(r"([0-9]{1,3}([.,][0-9]{1,9})?)\s*(%?)")


class BudgetTypedError(DomainError):
    """What was typed is no line of a budget."""


class BudgetNumberNotReadError(BudgetTypedError):
    """Not a number, or a negative one."""

    code = "budget.number_not_read"
    field_names = ("field_code", "typed")


class BudgetValueOutsideError(BudgetTypedError):
    """A length below zero or beyond what can be an uncertainty."""

    code = "budget.value_outside"
    field_names = ("typed", "largest", "unit")


class BudgetWordsMissingError(BudgetTypedError):
    """A line without a name, or without words about where its value comes from."""

    code = "budget.words_missing"
    field_names = ("field_code", "longest")


class BudgetDistributionUnknownError(BudgetTypedError):
    """No distribution of that name."""

    code = "budget.distribution_unknown"
    field_names = ("typed",)


def fine_display(unit: str) -> Display:
    """Return the finest display of the unit."""
    return Display(Unit(unit), Unit(unit).most_decimals)


def read_value_nm(typed: str, unit: str, largest_nm: int = LARGEST_NM) -> int:
    """Return a typed length of zero or more in nanometres.
    Raises `BudgetValueOutsideError` or a `LengthError`.
    """
    display = fine_display(unit)
    try:
        return parse_length(typed, display, 0, largest_nm)
    except LengthError as refused:
        if not refused.code.startswith("length.beyond_travel"):
            raise
        largest = format_length(largest_nm, Display(Unit(unit), 3), sign=False)
        raise BudgetValueOutsideError(typed=typed[:LONGEST_SHOWN], largest=largest, unit=unit) from None


def read_number(typed: str, field_code: str, *, above_zero: bool = False) -> str:
    """Return a typed decimal of zero or more as plain text.
    Raises `BudgetNumberNotReadError`, `NumberAmbiguousCommaError`.
    """
    check_comma(typed)
    text = typed.strip().replace(",", ".")
    if not _NUMBER.fullmatch(text) or (above_zero and Decimal(text) == 0) or Decimal(text) > LARGEST_NUMBER:
        raise BudgetNumberNotReadError(field_code=field_code, typed=typed[:LONGEST_SHOWN])
    return text


def read_confidence(typed: str) -> str:
    """Return a typed confidence as a decimal text. Raises `ConfidenceNotBetweenError`."""
    found = _CONFIDENCE.fullmatch(typed.strip())
    if found is None:
        raise ConfidenceNotBetweenError(confidence=typed[:LONGEST_SHOWN] or "–")
    value = Decimal(found[1].replace(",", ".")) / (100 if found[3] else 1)
    if not Decimal(str(CONFIDENCES[0])) <= value <= Decimal(str(CONFIDENCES[1])):
        raise ConfidenceNotBetweenError(confidence=typed[:LONGEST_SHOWN])
    return f"{value.normalize():f}"


def read_line(
    *, line_id: str, name: str, axis: str, value: str, distribution: str, degrees: str, source: str, unit: str
) -> LeadLine:
    """Return the line in these typed fields; an empty `axis` means every axis. Raises a `BudgetTypedError` or
    `LengthError`.
    """
    if distribution not in tuple(Distribution):
        raise BudgetDistributionUnknownError(typed=distribution[:LONGEST_SHOWN])
    freedom = read_number(degrees, "budget.field_degrees", above_zero=True) if degrees.strip() else None
    return LeadLine(
        line_id,
        _words(name, "budget.field_name", LONGEST_NAME),
        axis or None,
        read_value_nm(value, unit),
        distribution,
        freedom,
        _words(source, "budget.field_source", LONGEST_SOURCE),
    )


def read_thermal(
    *, name: str, axis: str, span: str, expansion: str, swing: str, source: str, unit: str
) -> LeadLine:
    """Return the thermal line in these typed fields: span in the unit, µm/(m·K), ± kelvin.
    Raises as `read_line`.
    """
    return LeadLine(
        THERMAL,
        name,
        axis or None,
        0,
        str(Distribution.RECTANGULAR),
        None,
        _words(source, "budget.field_source", LONGEST_SOURCE),
        read_value_nm(span, unit, LARGEST_SPAN_NM),
        read_number(expansion, "budget.field_expansion"),
        read_number(swing, "budget.field_swing"),
    )


def _words(typed: str, field_code: str, longest: int) -> str:
    text = " ".join(typed.split())
    if not 0 < len(text) <= longest or not text.isprintable():
        raise BudgetWordsMissingError(field_code=field_code, longest=longest)
    return text
