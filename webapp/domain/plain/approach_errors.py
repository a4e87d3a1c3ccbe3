"""Why a touch cannot be planned, by name."""

from __future__ import annotations

from webapp.domain.plain.errors import DomainError


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
