"""What likely causes are worked out from, and the shape of one candidate on the setup sheet.

Rules of this module:
- A mistake has a signature: the value that it would have given. A candidate holds that value (or a range of
  them) and its standard uncertainty, both in whole nanometres, so that a tablet compares with whole numbers
  only.
- The uncertainty of one more value u: a third of the prediction half-width at the coverage of three standard
  deviations, 0.9973 (JCGM 100:2008, G.1.3 for the normal figure; Student's t for the degrees of freedom at
  hand), or of the floor where that is wider. "Within three uncertainties" then means the same with three
  values and with three hundred.
- Chance comes first: up to the line that one clean touch in twenty times the ask line's number crosses, no
  cause is named. The shop's ceiling does not move that line: a ceiling changes what is asked, not what chance
  does.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from webapp.domain.evidence.written_sheet import CandidateOnSheet
from webapp.domain.figures import spread
from webapp.domain.plain.axes import Face
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.usual.usual import LinesChoice, Usual

THREE_SIGMA_COVERAGE = 0.9973002
# A line that twenty times fewer clean touches cross than the ask line: of those that ask by chance, nineteen
# in twenty stay inside, so that nine in ten have no cause named whatever a shop scatters like.
CHANCE_MARGIN = 20


@dataclass(frozen=True)
class Candidate:
    """A mistake and what it would have given: one value (`low_nm` = `high_nm`) or any value from low to high.

    `uncertainty_nm` is the standard uncertainty of that. `alone`: it explains one axis only, so not where an
    earlier axis differs too. `beside`: what earlier axes must then read, as (axis, value, uncertainty).
    """

    code: str
    low_nm: int
    high_nm: int
    uncertainty_nm: int
    fields: Mapping[str, str | int] = field(default_factory=dict)
    alone: bool = False
    beside: tuple[tuple[str, int, int], ...] = ()

    def as_dict(self) -> CandidateOnSheet:
        """Return plain data for the setup sheet."""
        return {
            "code": self.code,
            "fields": dict(self.fields),
            "low_nm": self.low_nm,
            "high_nm": self.high_nm,
            "uncertainty_nm": self.uncertainty_nm,
            "alone": self.alone,
            "beside": [
                {"axis": axis, "value_nm": value_nm, "uncertainty_nm": uncertainty_nm}
                for axis, value_nm, uncertainty_nm in self.beside
            ],
        }


@dataclass(frozen=True)
class Known:
    """One axis before its touch: its face, the usual's centre,
    how well one more value is known, the chance line.

    `centre_nm` and `chance_nm` are None where this seating has no value yet;
    `uncertainty_nm` is at least one.
    """

    face: Face
    centre_nm: int | None
    ask_nm: int | None
    uncertainty_nm: int
    chance_nm: int | None


@dataclass(frozen=True)
class OtherBall:
    """A ball that another probe has, or that probes are sold with:
    its size, its effective radius, and how well that is known.
    """

    diameter_nm: int
    effective_radius_nm: int
    uncertainty_nm: int


@dataclass(frozen=True)
class Measures:
    """What is known of probe and vise, in nanometres.
    None or empty: not known, and no cause is drawn from it.

    `vise_uncertainty_nm` (how well the vise's own measures are known) and `opening_uncertainty_nm` (it is set
    by hand for each workpiece) are standard uncertainties; the shipped 0.1 mm and 1 mm are common practice,
    no source. So are the largest chip, 0.5 mm, and the largest move of a vise that nobody need have noticed,
    0.5 mm.
    """

    effective_radius_nm: int
    radius_uncertainty_nm: int = 0
    gauge_length_nm: int = 0
    stylus_reach_nm: int | None = None
    jaw_length_nm: int | None = None
    jaw_thickness_nm: int | None = None
    jaw_height_nm: int | None = None
    opening_nm: int | None = None
    clamping_axis: str = "Y"
    clamping_direction: int = -1
    moving_jaw_thickness_nm: int | None = None
    parallels_nm: Sequence[int] = ()
    jaw_steps_nm: Sequence[int] = ()
    vise_uncertainty_nm: int = 100_000
    opening_uncertainty_nm: int = 1_000_000
    largest_chip_nm: int = 500_000
    other_balls: Sequence[OtherBall] = ()
    largest_move_nm: int = 500_000


def half_width_nm(usual: Usual, coverage: float) -> float:
    """Return how far one more value lies from the centre at most, with that coverage;
    no ceiling, no rounding.
    """
    floor_nm = spread.normal_quantile(coverage) * usual.u_b_nm * usual.root
    if usual.known_s_nm is None:
        return floor_nm
    predicted_nm = spread.prediction_half_width(
        usual.known_s_nm, usual.degrees_of_freedom, usual.centre_variance, coverage
    )
    return max(floor_nm, predicted_nm)


def known_axis(face: Face, usual: Usual, choice: LinesChoice) -> Known:
    """Return what causes on this axis are judged by."""
    uncertainty_nm = max(1, math.ceil(half_width_nm(usual, THREE_SIGMA_COVERAGE) / 3))
    if usual.centre_nm is None or usual.ask_nm is None:
        return Known(face, None, None, uncertainty_nm, None)
    chance_nm = half_width_nm(usual, 1 - 1 / (CHANCE_MARGIN * choice.ask_one_in))
    return Known(face, usual.centre_nm, usual.ask_nm, uncertainty_nm, max(usual.ask_nm, math.ceil(chance_nm)))


def together_nm(*uncertainties_nm: float) -> int:
    """Return the root sum of squares, rounded up to whole nanometres, at least one."""
    return max(1, math.ceil(math.hypot(*uncertainties_nm)))


def step_uncertainty_nm(display: Display) -> int:
    """Return the standard uncertainty of a value that is read off exactly:
    a step of the display over sqrt(12).
    """
    return together_nm(display.resolution_nm / math.sqrt(12))


def plain(value_nm: int, display: Display) -> str:
    """Return a length without a plus, as fields of sentences hold it."""
    return format_length(value_nm, display, sign=False)
