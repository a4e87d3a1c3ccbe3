"""Every refusal of the domain, by name.

Rules of this module:
- A refusal is a class with a fixed `code` and a fixed set of fields (text or whole numbers). It carries no
  sentence: the sentence stands in the words catalogue under the code, so that server and browser say the
  same.
- A field whose name ends in `_code` holds another code of the catalogue; its words are put in its place.
- Something that is asked about and not refused is a `Finding`, with the same two parts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

Fields = dict[str, str | int]


@dataclass(frozen=True)
class Finding:
    """Something to ask about: a code of the words catalogue and the fields of its sentence. Not a refusal."""

    code: str
    fields: Fields = field(default_factory=dict)


class DomainError(Exception):
    """A named refusal. `code` names it, `fields` fills its sentence; both are data, so they can be stored
    and sent.
    """

    code: ClassVar[str] = ""
    field_names: ClassVar[tuple[str, ...]] = ()

    def __init__(self, **fields: str | int) -> None:
        """Take exactly the fields in `field_names`; raise TypeError for one missing or one too many."""
        if set(fields) != set(self.field_names):
            raise TypeError(f"{type(self).__name__} takes the fields {self.field_names}, not {tuple(fields)}")
        super().__init__(self.code, fields)
        self.fields: Fields = fields

    def __str__(self) -> str:
        return f"{self.code} {self.fields}"

    def finding(self) -> Finding:
        """Return the same code and fields as a value that can be listed instead of raised."""
        return Finding(self.code, dict(self.fields))


def error_classes(root: type[DomainError] = DomainError) -> list[type[DomainError]]:
    """Return every class of the tree under `root` that has a code of its own, in order of code."""
    found: dict[str, type[DomainError]] = {}
    waiting = [root]
    while waiting:
        error = waiting.pop()
        waiting.extend(error.__subclasses__())
        if error.code:
            found.setdefault(error.code, error)
    return [found[code] for code in sorted(found)]


# Lengths


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


# Axes


class AxisError(DomainError):
    """A direction that no axis of the machine has."""


class NormalNotAlongAxisError(AxisError):
    """A face's normal is neither +1 nor -1."""

    code = "axis.normal_not_one"
    field_names = ("axis", "normal")


# Approach


class ApproachError(DomainError):
    """A touch cannot be planned; the sentence names the measure at fault."""


class MeasureNotPositiveError(ApproachError):
    """A measure that must be above zero is not."""

    code = "approach.measure_not_positive"
    field_names = ("measure_code", "value")


class MeasureNegativeError(ApproachError):
    """A measure that may be zero is below it."""

    code = "approach.measure_negative"
    field_names = ("measure_code", "value")


class SafetyFactorBelowOneError(ApproachError):
    """The safety factor would allow more than the stylus' overtravel."""

    code = "approach.safety_factor_below_one"
    field_names = ("value",)


class TravelReversedError(ApproachError):
    """The low end of an axis' travel does not lie below its high end."""

    code = "approach.travel_reversed"
    field_names = ("axis", "low", "high", "unit")


class NoFeedStopsInTimeError(ApproachError):
    """Even the smallest feed does not stop within the stylus' overtravel."""

    code = "approach.no_feed_stops_in_time"
    field_names = ("overtravel", "unit", "smallest_feed")


class FineFeedNotSlowerError(ApproachError):
    """The fine feed is above the first feed."""

    code = "approach.fine_feed_not_slower"
    field_names = ("fine_feed", "first_feed", "unit")


class CapTooSmallForSpreadError(ApproachError):
    """The search cap leaves no gap because the stop line is wide."""

    code = "approach.cap_too_small_for_spread"
    field_names = ("cap", "stop", "gap_low", "unit")


class CapTooSmallForFeedError(ApproachError):
    """The search cap leaves no gap because the axis needs room to come up to speed."""

    code = "approach.cap_too_small_for_feed"
    field_names = ("cap", "gap_low", "margin", "feed", "unit")


class CapTooSmallError(ApproachError):
    """The search cap leaves no gap at all."""

    code = "approach.cap_too_small"
    field_names = ("cap", "gap_low", "margin", "unit")


class CapTooSmallForRadiusError(ApproachError):
    """The search cap leaves no gap because the effective radius is far from the ball's."""

    code = "approach.cap_too_small_for_radius"
    field_names = ("cap", "ball", "effective", "unit")


class FixedSearchTooShortError(ApproachError):
    """The distance that the control searches leaves no gap."""

    code = "approach.fixed_search_too_short"
    field_names = ("reach", "gap_low", "stop", "unit")


class RoomTooSmallError(ApproachError):
    """The ball does not fit between the face and what stands opposite."""

    code = "approach.room_too_small"
    field_names = ("room", "gap_low", "ball", "unit")


class FirstWindowTooNarrowError(ApproachError):
    """Nothing is known of the place yet, and the search leaves no window that an eye can judge."""

    code = "approach.first_window_too_narrow"
    field_names = ("reach", "least", "gap_low", "unit")


class ValuesTooFarApartError(ApproachError):
    """The values that the usual stands on lie farther apart than the shop's ceiling."""

    code = "approach.values_too_far_apart"
    field_names = ("axis", "low", "high", "apart", "ceiling", "unit")


class DepthOutsideError(ApproachError):
    """The depth that the lead chose for a face is one that the ball may not go to."""

    code = "approach.depth_outside"
    field_names = ("depth", "shallowest", "deepest", "unit")


class StandOutsideTravelError(ApproachError):
    """The place to stand lies outside the axis' travel."""

    code = "approach.stand_outside_travel"
    field_names = ("axis", "stand_low", "stand_high", "low", "high", "unit")


class SearchLeavesTravelError(ApproachError):
    """The search would end outside the axis' travel."""

    code = "approach.search_leaves_travel"
    field_names = ("axis", "end", "low", "high", "range", "unit")


class StylusTooShortError(ApproachError):
    """The stylus does not reach the flat of the face."""

    code = "approach.stylus_too_short"
    field_names = ("shallowest", "deepest", "reach", "unit")


class DepthTooUncertainError(ApproachError):
    """The top's stop line leaves no depth that is sure to lie on the face."""

    code = "approach.depth_too_uncertain"
    field_names = ("shallowest", "deepest", "stop", "unit")


class FaceTooLowError(ApproachError):
    """The face is not high enough for the ball."""

    code = "approach.face_too_low"
    field_names = ("shallowest", "deepest", "height", "unit")


class FaceTooNarrowError(ApproachError):
    """The face is not wide enough for the ball."""

    code = "approach.face_too_narrow"
    field_names = ("width", "least", "unit")


# The usual


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


# Slots


class SlotError(DomainError):
    """A slot family, a typed slot label or the register cannot be taken as it is."""


class FamilyEmptyError(SlotError):
    """No slot is named."""

    code = "slots.family_empty"


class FamilyItemNotUnderstoodError(SlotError):
    """A part of the text is neither a label nor a range of labels."""

    code = "slots.family_item_not_understood"
    field_names = ("item",)


class FamilyRangeBackwardsError(SlotError):
    """A range ends before it starts."""

    code = "slots.family_range_backwards"
    field_names = ("item", "first", "last")


class FamilyRangeStemsDifferError(SlotError):
    """The two ends of a range differ in more than their last number."""

    code = "slots.family_range_stems_differ"
    field_names = ("item", "first", "last")


class FamilyLabelTwiceError(SlotError):
    """A label is named twice."""

    code = "slots.family_label_twice"
    field_names = ("label",)


class FamilyTooLongError(SlotError):
    """The text names more slots than a register keeps."""

    code = "slots.family_too_long"
    field_names = ("most",)


class LabelEmptyError(SlotError):
    """No slot label was typed."""

    code = "slots.label_empty"


class LabelNotInFamilyError(SlotError):
    """The typed label is none of the machine's."""

    code = "slots.label_not_in_family"
    field_names = ("typed", "first", "last")


class LabelAmbiguousError(SlotError):
    """The typed number fits two labels."""

    code = "slots.label_ambiguous"
    field_names = ("typed", "one", "other")


class SlotListedTwiceError(SlotError):
    """The register has two rows for one slot."""

    code = "slots.listed_twice"
    field_names = ("label",)


class SlotWithoutOwnerError(SlotError):
    """An assigned slot has no owner."""

    code = "slots.without_owner"
    field_names = ("label",)


class SlotOwnerUnexpectedError(SlotError):
    """A free slot, or one kept for the shop, has an owner."""

    code = "slots.owner_unexpected"
    field_names = ("label", "owner")


class SlotTakenError(SlotError):
    """The slot belongs to somebody."""

    code = "slots.taken"
    field_names = ("label", "owner")


class SlotHeldBackError(SlotError):
    """The slot is held back until its last values are copied out."""

    code = "slots.held_back"
    field_names = ("label", "owner")


class SlotKeptForShopError(SlotError):
    """The slot is kept for the shop."""

    code = "slots.kept_for_shop"
    field_names = ("label",)


class SlotNotAssignedError(SlotError):
    """The slot is assigned to nobody."""

    code = "slots.not_assigned"
    field_names = ("label",)


class TimeWithoutZoneError(SlotError):
    """A time carries no time zone."""

    code = "slots.time_without_zone"
    field_names = ("label",)
