"""Lengths: what a person types and what a display shows, exactly.

Rules of this module:
- Every length is an integer number of nanometres. 1 in = 25.4 mm exactly (international yard and inch, in
  force 1 July 1959; NIST SP 811 appendix B), so 1 in = 25 400 000 nm. A millimetre value with up to 6
  decimals and an inch value with up to 5 decimals are then whole numbers: no binary fraction ever stands
  between the keypad and the database, two values are equal or they are not, and unit changes lose nothing.
- The browser computes the same with plain numbers. They are exact up to 2**53, which is 9 007 km in
  nanometres. Typed numbers have at most 7 digits before the separator, and limits lie within 10 km; the
  largest product formed here is then below 1.3e15. A twin in another language needs integers only: no
  decimals library, no big integers.
- Shown values are rounded half to even (NIST SP 811 appendix B.7.1). Limits are rounded inward
  (`round_inward_nm`).
- A comma is a decimal separator. Where it could just as well be a thousands comma (`could_be_thousands`),
  nothing is guessed: with limits, if both readings lie inside them (`LengthAmbiguousCommaError`); without
  limits always (`check_comma`).
- Characters are taken one code point at a time; digits are the ASCII digits only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from webapp.domain.plain.errors import Finding
from webapp.domain.plain.length_errors import (
    DisplayNotExactError,
    HalfWidthNotANumberError,
    LengthAmbiguousCommaError,
    LengthBeyondTravelError,
    LengthBeyondTravelOtherUnitError,
    LengthBlankInsideError,
    LengthEmptyError,
    LengthExponentError,
    LengthLettersError,
    LengthMoreThanOneSeparatorError,
    LengthMoreThanOneSignError,
    LengthNoDigitsError,
    LengthSignNotFirstError,
    LengthTooManyDecimalsError,
    LimitsReversedError,
    NumberAmbiguousCommaError,
)

NM_PER_MM = 1_000_000
NM_PER_INCH = 25_400_000
# 25.4 as a fraction of small whole numbers:
# value * 127 / 5 is the value read as inches instead of millimetres.
INCH_NUMERATOR = 127
INCH_DENOMINATOR = 5
MOST_WHOLE_DIGITS = 7
MOST_LIMIT_NM = 10**13

MINUS = "\u2212"
SIGNS = "+-" + MINUS
SEPARATORS = ".,"
DIGITS = "0123456789"
# Space, tab, line ends, no-break space, thin space, narrow no-break space:
# written out, so that a twin strips the same.
BLANKS = " \t\r\n\u00a0\u2009\u202f"


class Unit(StrEnum):
    """The unit that a control shows lengths in."""

    MM = "mm"
    INCH = "in"

    @property
    def nm(self) -> int:
        """Return how many nanometres one unit is."""
        return NM_PER_MM if self is Unit.MM else NM_PER_INCH

    @property
    def other(self) -> Unit:
        """Return the other of the two units."""
        return Unit.INCH if self is Unit.MM else Unit.MM

    @property
    def most_decimals(self) -> int:
        """Return the most decimals whose last place is a whole number of nanometres: 6 for mm, 5 for
        inches.
        """
        return 6 if self is Unit.MM else 5


@dataclass(frozen=True)
class Display:
    """How a control shows lengths: a unit and a number of decimals (0 to 6 for mm, 0 to 5 for inches)."""

    unit: Unit
    decimals: int

    def __post_init__(self) -> None:
        object.__setattr__(self, "unit", Unit(self.unit))
        most = self.unit.most_decimals
        if not 0 <= self.decimals <= most:
            raise DisplayNotExactError(unit=self.unit.value, decimals=self.decimals, most=most)

    @property
    def resolution_nm(self) -> int:
        """Return the smallest step that the display can show, in nanometres, exactly."""
        return int(self.unit.nm // 10**self.decimals)

    @property
    def other(self) -> Display:
        """Return a display of about the same fineness in the other unit (0.001 mm goes with 0.0001 in)."""
        if self.unit is Unit.MM:
            return Display(Unit.INCH, min(self.decimals + 1, Unit.INCH.most_decimals))
        return Display(Unit.MM, max(self.decimals - 1, 0))


def as_judged(display: Display) -> Display:
    """Return how a length is shown that an eye judges: tenths of a millimetre, hundredths of an inch."""
    return Display(display.unit, 1 if display.unit is Unit.MM else 2)


def parse_length(text: str, display: Display, limit_low_nm: int, limit_high_nm: int) -> int:
    """Return the typed length in nanometres; both limits belong to what is allowed.

    Takes one sign (+, - or U+2212), digits and one point or comma, with blanks around. Raises a
    `LengthError` that names what is in the way: see the classes of that name.
    """
    _check_limits(limit_low_nm, limit_high_nm, display)
    typed = text.strip(BLANKS)
    sign, whole, decimals = _split(typed)
    if len(decimals) > display.decimals:
        raise LengthTooManyDecimalsError(typed=typed, decimals=display.decimals, unit=display.unit.value)
    if len(whole.lstrip("0")) > MOST_WHOLE_DIGITS:
        raise _beyond_travel(typed, display, limit_low_nm, limit_high_nm)
    value_nm = _value_nm(sign, whole, decimals, display)
    if could_be_thousands(typed):
        thousands_nm = _value_nm(sign, whole + decimals, "", display)
        if limit_low_nm <= min(value_nm, thousands_nm) and max(value_nm, thousands_nm) <= limit_high_nm:
            raise LengthAmbiguousCommaError(
                typed=typed,
                as_decimal=format_length(value_nm, display),
                as_thousands=format_length(thousands_nm, display),
                unit=display.unit.value,
            )
    if limit_low_nm <= value_nm <= limit_high_nm:
        return value_nm
    numerator, denominator = _other_reading(display.unit)
    if limit_low_nm * denominator <= value_nm * numerator <= limit_high_nm * denominator:
        converted = _format_ratio(value_nm, numerator, denominator, display)
        raise _beyond_travel_other_unit(typed, converted, display, limit_low_nm, limit_high_nm)
    raise _beyond_travel(typed, display, limit_low_nm, limit_high_nm)


def could_be_thousands(text: str) -> bool:
    """Tell whether the one comma of a typed number could part thousands: exactly three digits behind it, one
    to three before it, the first of them not zero ("1,016", not "1,5" and not "0,123").
    """
    typed = text.strip(BLANKS)
    whole, _, rest = (typed[1:] if typed[:1] and typed[0] in SIGNS else typed).partition(",")
    are_digits = bool(whole) and all(character in DIGITS for character in whole + rest)
    return are_digits and len(whole) <= 3 and whole[0] != "0" and len(rest) == 3


def check_comma(text: str) -> None:
    """Refuse a number that can be read in two ways, where no limits say which of them is meant.

    Raises `NumberAmbiguousCommaError` with both readings, as each would be typed.
    """
    if could_be_thousands(text):
        typed = text.strip(BLANKS)
        readings = {"as_decimal": typed.replace(",", "."), "as_thousands": typed.replace(",", "")}
        raise NumberAmbiguousCommaError(typed=typed, **readings)


def _check_limits(low_nm: int, high_nm: int, display: Display) -> None:
    if low_nm > high_nm or max(abs(low_nm), abs(high_nm)) > MOST_LIMIT_NM:
        low, high = format_length(low_nm, display), format_length(high_nm, display)
        raise LimitsReversedError(low=low, high=high, unit=display.unit.value)


def _split(typed: str) -> tuple[int, str, str]:
    """Return sign (+1 or -1), digits before the separator, digits after it."""
    if typed == "":
        raise LengthEmptyError
    _check_characters(typed)
    sign = -1 if typed[0] in "-" + MINUS else 1
    body = typed[1:] if typed[0] in SIGNS else typed
    separators = [character for character in body if character in SEPARATORS]
    if len(separators) > 1:
        raise LengthMoreThanOneSeparatorError(typed=typed)
    separator = separators[0] if separators else ""
    whole, _, decimals = body.partition(separator) if separator else (body, "", "")
    if whole + decimals == "":
        raise LengthNoDigitsError(typed=typed)
    return sign, whole, decimals


def _check_characters(typed: str) -> None:
    if _is_exponent(typed):
        raise LengthExponentError(typed=typed)
    for character in typed:
        if character in BLANKS:
            raise LengthBlankInsideError(typed=typed)
        if character not in DIGITS + SIGNS + SEPARATORS:
            raise LengthLettersError(typed=typed, character=character)
    signs = [place for place, character in enumerate(typed) if character in SIGNS]
    if len(signs) > 1:
        raise LengthMoreThanOneSignError(typed=typed)
    if signs and signs[0] > 0:
        raise LengthSignNotFirstError(typed=typed)


def _is_exponent(typed: str) -> bool:
    """Tell whether exactly one e or E stands behind a digit or separator among characters of a number."""
    places = [place for place, character in enumerate(typed) if character in "eE"]
    if len(places) != 1 or places[0] == 0:
        return False
    numeric = all(character in DIGITS + SIGNS + SEPARATORS + "eE" for character in typed)
    return numeric and typed[places[0] - 1] in DIGITS + SEPARATORS


def _value_nm(sign: int, whole: str, decimals: str, display: Display) -> int:
    steps = int((whole + decimals.ljust(display.decimals, "0")) or "0")
    return sign * steps * display.resolution_nm


def _beyond_travel(typed: str, display: Display, low_nm: int, high_nm: int) -> LengthBeyondTravelError:
    low, high = format_length(low_nm, display), format_length(high_nm, display)
    return LengthBeyondTravelError(typed=typed, low=low, high=high, unit=display.unit.value)


def _beyond_travel_other_unit(
    typed: str, converted: str, display: Display, low_nm: int, high_nm: int
) -> LengthBeyondTravelOtherUnitError:
    return LengthBeyondTravelOtherUnitError(
        typed=typed,
        low=format_length(low_nm, display),
        high=format_length(high_nm, display),
        unit=display.unit.value,
        other_unit=display.unit.other.value,
        converted=converted,
    )


def _other_reading(unit: Unit) -> tuple[int, int]:
    """Return numerator and denominator that turn a number typed in the other unit into what was meant."""
    if unit is Unit.MM:
        return INCH_NUMERATOR, INCH_DENOMINATOR
    return INCH_DENOMINATOR, INCH_NUMERATOR


def looks_like_other_unit(value_nm: int, display: Display, centre_nm: int, stop_nm: int) -> Finding | None:
    """Return the finding `length.other_unit` when 25.4 times or 1/25.4 of the value would fit the usual, else
    None.

    `centre_nm` and `stop_nm` are the usual's centre and its stop line (a half-width, itself inside). A
    value that is inside already gives None, and so does a usual so near zero that in the other unit it would
    still be inside. The reading that the display's unit makes likely is looked at first.
    """
    if abs(value_nm - centre_nm) <= stop_nm:
        return None
    numerator, denominator = _other_reading(display.unit)
    for up, down in ((numerator, denominator), (denominator, numerator)):
        tells_apart = abs(centre_nm) * abs(up - down) > stop_nm * up
        if tells_apart and abs(value_nm * up - centre_nm * down) <= stop_nm * down:
            return Finding(
                "length.other_unit",
                {
                    "value": format_length(value_nm, display),
                    "converted": _format_ratio(value_nm, up, down, display),
                    "unit": display.unit.value,
                    "other_unit": display.unit.other.value,
                },
            )
    return None


def _half_even(numerator: int, denominator: int) -> int:
    """Return numerator / denominator, both not negative, rounded half to even."""
    whole, rest = divmod(numerator, denominator)
    if 2 * rest > denominator or (2 * rest == denominator and whole % 2 == 1):
        return whole + 1
    return whole


def format_length(value_nm: int, display: Display, sign: bool = True) -> str:
    """Return the value as the display shows it, rounded half to even, with a point and all its decimals.

    With `sign` a value above zero has "+". A value below zero always has U+2212. What rounds to zero has no
    sign.
    """
    return _format_ratio(value_nm, 1, 1, display, sign)


def _format_ratio(value_nm: int, up: int, down: int, display: Display, sign: bool = True) -> str:
    """Return value * up / down as the display shows it, rounded once."""
    steps = _half_even(abs(value_nm) * up, down * display.resolution_nm)
    digits = str(steps).rjust(display.decimals + 1, "0")
    split = len(digits) - display.decimals
    text = digits[:split] + ("." + digits[split:] if display.decimals else "")
    if steps == 0:
        return text
    if value_nm < 0:
        return MINUS + text
    return "+" + text if sign else text


def format_other_unit(value_nm: int, display: Display, sign: bool = True) -> str:
    """Return the value in the other unit with that unit behind it, for example "+0.4860 in" beside
    "+12.345" mm.
    """
    return f"{format_length(value_nm, display.other, sign)} {display.other.unit.value}"


def round_inward_nm(half_width_nm: float, display: Display) -> int:
    """Return the largest whole number of display steps, in nanometres, that is not above the half-width.

    Raises `HalfWidthNotANumberError` for a negative or infinite half-width or one that is no number.
    """
    if not math.isfinite(half_width_nm) or half_width_nm < 0:
        raise HalfWidthNotANumberError(half_width=str(half_width_nm))
    return math.floor(half_width_nm) // display.resolution_nm * display.resolution_nm
