"""Why a typed length or a direction cannot be taken, by name."""

from __future__ import annotations

from webapp.domain.plain.errors import DomainError


class LengthError(DomainError):
    """A typed length cannot be taken."""


class DisplayNotExactError(LengthError):
    """A display's last decimal is no whole number of nanometres."""

    code = "length.display_not_exact"
    field_names = ("unit", "decimals", "most")


class LimitsReversedError(LengthError):
    """The low limit lies above the high one, or a limit is farther than any machine's travel."""

    code = "length.limits_reversed"
    field_names = ("low", "high", "unit")


class LengthEmptyError(LengthError):
    """Nothing was typed."""

    code = "length.empty"


class LengthExponentError(LengthError):
    """The number is typed with an exponent, such as 1e3."""

    code = "length.exponent"
    field_names = ("typed",)


class LengthLettersError(LengthError):
    """A character is typed that no number has."""

    code = "length.letters"
    field_names = ("typed", "character")


class LengthBlankInsideError(LengthError):
    """A blank stands between the digits."""

    code = "length.blank_inside"
    field_names = ("typed",)


class LengthMoreThanOneSignError(LengthError):
    """More than one sign is typed."""

    code = "length.more_than_one_sign"
    field_names = ("typed",)


class LengthSignNotFirstError(LengthError):
    """The sign is typed behind a digit."""

    code = "length.sign_not_first"
    field_names = ("typed",)


class LengthMoreThanOneSeparatorError(LengthError):
    """More than one point or comma is typed."""

    code = "length.more_than_one_separator"
    field_names = ("typed",)


class LengthNoDigitsError(LengthError):
    """A sign or a separator is typed and no digit."""

    code = "length.no_digits"
    field_names = ("typed",)


class LengthTooManyDecimalsError(LengthError):
    """More decimals are typed than the display shows."""

    code = "length.too_many_decimals"
    field_names = ("typed", "decimals", "unit")


class LengthAmbiguousCommaError(LengthError):
    """The comma could be a decimal or a thousands comma, and both readings are possible."""

    code = "length.ambiguous_comma"
    field_names = ("typed", "as_decimal", "as_thousands", "unit")


class NumberAmbiguousCommaError(DomainError):
    """The comma of a number without limits could be a decimal or a thousands comma."""

    code = "number.ambiguous_comma"
    field_names = ("typed", "as_decimal", "as_thousands")


class LengthBeyondTravelError(LengthError):
    """The value lies outside the axis' travel."""

    code = "length.beyond_travel"
    field_names = ("typed", "low", "high", "unit")


class LengthBeyondTravelOtherUnitError(LengthError):
    """The value lies outside the axis' travel, and inside it when read in the other unit."""

    code = "length.beyond_travel_other_unit"
    field_names = ("typed", "low", "high", "unit", "other_unit", "converted")


class HalfWidthNotANumberError(LengthError):
    """A half-width is negative, infinite or no number."""

    code = "length.half_width_not_a_number"
    field_names = ("half_width",)


class AxisError(DomainError):
    """A direction that no axis of the machine has."""


class NormalNotAlongAxisError(AxisError):
    """A face's normal is neither +1 nor -1."""

    code = "axis.normal_not_one"
    field_names = ("axis", "normal")
