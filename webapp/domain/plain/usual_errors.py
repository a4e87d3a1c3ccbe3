"""Why the usual cannot be worked out, by name."""

from __future__ import annotations

from webapp.domain.plain.errors import DomainError


class UsualError(DomainError):
    """The usual cannot be worked out from what was given."""


class SetupCountedTwiceError(UsualError):
    """One setup brings two values into a seating."""

    code = "usual.setup_counted_twice"
    field_names = ("setup", "seating")


class SeatingListedTwiceError(UsualError):
    """One seating is listed twice."""

    code = "usual.seating_listed_twice"
    field_names = ("seating",)


class FalseAskTooOftenError(UsualError):
    """The chosen rate of false asks or stops is no rate to work with."""

    code = "usual.false_ask_too_often"
    field_names = ("one_in", "least")


class StopNotRarerThanAskError(UsualError):
    """False stops would come as often as false asks."""

    code = "usual.stop_not_rarer_than_ask"
    field_names = ("ask_one_in", "stop_one_in")


class StopLengthNotPositiveError(UsualError):
    """A stop line of no length."""

    code = "usual.stop_length_not_positive"
    field_names = ("length", "unit")


class UncertaintyNegativeError(UsualError):
    """A part of the uncertainty is below zero or no number."""

    code = "usual.uncertainty_negative"
    field_names = ("part_code", "value")


class CeilingNotPositiveError(UsualError):
    """The ceiling of the stop line is not above zero."""

    code = "usual.ceiling_not_positive"
    field_names = ("ceiling", "unit")


class TooFewValuesError(UsualError):
    """Too few values for this figure."""

    code = "usual.too_few_values"
    field_names = ("n", "least")
