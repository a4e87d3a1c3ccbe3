"""What a lead types to choose the lines of one fixture and axis, and what is taken of it.

Rules of this module:
- How rare a false call shall be is typed as a whole number N ("one in N") or as the share of setups that
  shall pass, in percent ("99.5 %"), which has to come to a whole N. One in 1 and a share of 0 or 100 % are no
  choices.
- The stop line is typed as a length, at most the highest ceiling;
  where that is empty, as how rare a false stop shall be, which has to be rarer than a false ask.
- The ceiling is a length in the machine's unit and resolution, above zero and at most 10 mm:
  beyond that a line sees nothing of what this tool looks for (common practice, no source).
- The coverage factor k of the floor is empty (the normal quantile of the line's own coverage) or from 1 to
  10.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.length_errors import LengthError
from webapp.domain.plain.lengths import Display, format_length, parse_length
from webapp.domain.usual.usual import LinesChoice

RAREST_ONE_IN = 1_000_000
STOP_RARER = 10
HIGHEST_CEILING_NM = 10_000_000
FACTOR_LOW, FACTOR_HIGH = Decimal(1), Decimal(10)
LONGEST_TYPED = 40
FIELDS = ("ask", "stop", "stop_length", "ceiling", "factor")
Read = TypeVar("Read")


class ChoiceError(DomainError):
    """What was typed is no choice of lines."""


class OneInNotReadError(ChoiceError):
    """Neither a whole number nor a percentage."""

    code = "choice.one_in_not_read"
    field_names = ("typed",)


class OneInOutsideError(ChoiceError):
    """One in 1, or rarer than can be told."""

    code = "choice.one_in_outside"
    field_names = ("typed", "rarest")


class ShareNotBetweenError(ChoiceError):
    """A share of 0 or of everything."""

    code = "choice.share_not_between"
    field_names = ("typed",)


class ShareNotWholeError(ChoiceError):
    """A share that does not come to one in a whole number."""

    code = "choice.share_not_whole"
    field_names = ("typed", "one_in", "share")


class StopNotRarerError(ChoiceError):
    """Stops would come as often as asks, or more often."""

    code = "choice.stop_not_rarer"
    field_names = ("ask_one_in", "stop_one_in")


class CeilingOutsideError(ChoiceError):
    """Not above zero, or farther out than a line can be of use."""

    code = "choice.ceiling_outside"
    field_names = ("typed", "unit", "highest")


class StopLengthOutsideError(ChoiceError):
    """Not above zero, or farther out than a line can be of use."""

    code = "choice.stop_length_outside"
    field_names = ("typed", "unit", "highest")


class FactorOutsideError(ChoiceError):
    """Not a number from 1 to 10."""

    code = "choice.factor_outside"
    field_names = ("typed", "low", "high")


class ChoiceUnchangedError(ChoiceError):
    """The choice holds already."""

    code = "choice.unchanged"


@dataclass(frozen=True)
class Reading:
    """What was typed, read: the choice where all of it could be taken,
    else one refusal for each field at fault.
    """

    choice: LinesChoice | None
    refused: Mapping[str, DomainError]


def read_choice(typed: Mapping[str, str], display: Display, held: LinesChoice | None = None) -> Reading:
    """Return the choice in the texts `ask`, `stop`, `stop_length`, `ceiling` and `factor`, or why not.

    Lengths are in the display's unit. One that reads as that of `held` is that one:
    0.5 mm shows as 0.0197 in and stays 0.5 mm. What cannot be typed is that of `held`.
    """
    refused: dict[str, DomainError] = {}
    ask = _try(refused, "ask", lambda: read_one_in(typed.get("ask", "")))
    length = _try(
        refused, "stop_length", lambda: read_stop_length_nm(typed.get("stop_length", ""), display, held)
    )
    by_length = bool(typed.get("stop_length", "").strip())
    if by_length and isinstance(ask, int):
        stop: int | None = ask * STOP_RARER
    else:
        stop = _try(refused, "stop", lambda: read_one_in(typed.get("stop", "")))
    ceiling = _try(refused, "ceiling", lambda: read_ceiling_nm(typed.get("ceiling", ""), display, held))
    factor = _try(refused, "factor", lambda: read_factor(typed.get("factor", "")))
    if isinstance(ask, int) and isinstance(stop, int) and stop <= ask:
        refused["stop"] = StopNotRarerError(ask_one_in=ask, stop_one_in=stop)
    if refused or not (isinstance(ask, int) and isinstance(stop, int) and isinstance(ceiling, int)):
        return Reading(None, refused)
    kept = held or LinesChoice()
    return Reading(LinesChoice(ask, stop, ceiling, factor, length, kept.least_ask_nm, kept.early_setups), {})


def _try(refused: dict[str, DomainError], field: str, read: Callable[[], Read]) -> Read | None:
    try:
        return read()
    except (ChoiceError, LengthError) as error:
        refused[field] = error
        return None


def read_one_in(typed: str) -> int:
    """Return N of "one in N", typed as a whole number or as a percentage that passes.
    Raises a `ChoiceError`.
    """
    text = typed.strip()[:LONGEST_TYPED]
    if text.endswith("%"):
        return _from_share(text)
    if not text.isascii() or not text.isdigit():
        raise OneInNotReadError(typed=text)
    if not 2 <= int(text) <= RAREST_ONE_IN:
        raise OneInOutsideError(typed=text, rarest=RAREST_ONE_IN)
    return int(text)


def _from_share(text: str) -> int:
    share = _number(text[:-1])
    if share is None:
        raise OneInNotReadError(typed=text)
    if not 0 < share < 100:
        raise ShareNotBetweenError(typed=text)
    exact = 100 / (100 - share)
    one_in = int(exact.to_integral_value())
    if not 2 <= one_in <= RAREST_ONE_IN:
        raise OneInOutsideError(typed=text, rarest=RAREST_ONE_IN)
    if abs(exact - one_in) > Decimal("0.005") * one_in:
        raise ShareNotWholeError(typed=text, one_in=one_in, share=f"{100 - Decimal(100) / one_in:.6g}")
    return one_in


def read_ceiling_nm(typed: str, display: Display, held: LinesChoice | None = None) -> int:
    """Return the ceiling in nanometres.
    Raises a `LengthError` for a text that is no length, `CeilingOutsideError`.
    """
    if held is not None and typed.strip() == as_typed(held, display)["ceiling"]:
        return held.ceiling_nm
    ceiling_nm = parse_length(
        typed[:LONGEST_TYPED], display, -10 * HIGHEST_CEILING_NM, 10 * HIGHEST_CEILING_NM
    )
    if not 0 < ceiling_nm <= HIGHEST_CEILING_NM:
        highest = format_length(HIGHEST_CEILING_NM, display, sign=False)
        raise CeilingOutsideError(typed=typed[:LONGEST_TYPED], unit=display.unit.value, highest=highest)
    return ceiling_nm


def read_stop_length_nm(typed: str, display: Display, held: LinesChoice | None = None) -> int | None:
    """Return the stop line's length in nanometres, None for an empty text. Raises a `LengthError`,
    `StopLengthOutsideError`.
    """
    if not typed.strip():
        return None
    if held is not None and typed.strip() == as_typed(held, display)["stop_length"]:
        return held.stop_length_nm
    length_nm = parse_length(
        typed[:LONGEST_TYPED], display, -10 * HIGHEST_CEILING_NM, 10 * HIGHEST_CEILING_NM
    )
    if not 0 < length_nm <= HIGHEST_CEILING_NM:
        highest = format_length(HIGHEST_CEILING_NM, display, sign=False)
        raise StopLengthOutsideError(typed=typed[:LONGEST_TYPED], unit=display.unit.value, highest=highest)
    return length_nm


def read_factor(typed: str) -> float | None:
    """Return the coverage factor, None for an empty text. Raises `FactorOutsideError`."""
    text = typed.strip()[:LONGEST_TYPED]
    if not text:
        return None
    factor = _number(text)
    if factor is None or not FACTOR_LOW <= factor <= FACTOR_HIGH:
        raise FactorOutsideError(typed=text, low=str(FACTOR_LOW), high=str(FACTOR_HIGH))
    return float(round(factor, 3))


def _number(text: str) -> Decimal | None:
    """Return a plain decimal number with a point or a comma, None for anything else."""
    plain = text.strip().replace(",", ".")
    if not plain.isascii() or not plain.replace(".", "", 1).isdigit():
        return None
    return Decimal(plain)


def as_typed(choice: LinesChoice, display: Display) -> dict[str, str]:
    """Return a choice as the texts that `read_choice` takes."""
    factor = choice.coverage_factor
    return {
        "ask": str(choice.ask_one_in),
        "stop": str(choice.stop_one_in),
        "stop_length": ""
        if choice.stop_length_nm is None
        else format_length(choice.stop_length_nm, display, sign=False),
        "ceiling": format_length(choice.ceiling_nm, display, sign=False),
        "factor": "" if factor is None else f"{factor:g}",
    }


def as_data(choice: LinesChoice) -> dict[str, int | float | None]:
    """Return a choice as plain data for the ledger and the store."""
    return {
        "ask_one_in": choice.ask_one_in,
        "stop_one_in": choice.stop_one_in,
        "ceiling_nm": choice.ceiling_nm,
        "coverage_factor": choice.coverage_factor,
        "stop_length_nm": choice.stop_length_nm,
    }
