"""What points round a ring can tell of a probe's lobes, and what they do tell.

Rules of this module:
- Around a fitted circle a probe with k lobes shows as a wave of k periods. Of n points evenly spread a wave
  of n - k periods looks the same as one of k; and what looks like one period is a centre elsewhere (sampling;
  Shannon 1949).
- So four points cannot show three lobes: they fit a circle beside. Five show them as an oval: that it is not
  round, not how. Six show them fully or not at all, as the probe happens to stand. From seven on three lobes
  have a wave of their own, and are named where it is more than chance.
- A wave is judged by the F test of its two coefficients against what is left, with the spread of repeated
  touches where there are any; what is left counts as no less than a display's step scatters, q/sqrt(12). The
  level is 5 % over all waves that are looked at (Bonferroni).
- Unevenly spread points tell less than they seem to:
  where a gap is more than half as wide again as it would be, or less than half as wide, no wave is named.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from webapp.domain.figures import special
from webapp.domain.figures.circle_fit import Circle, Point

Form = Literal["cannot_show", "not_how", "may_miss", "uneven", "none_found", "named"]
CANNOT_SHOW, NOT_HOW, MAY_MISS = 4, 5, 6
LEAST_LOBES, MOST_LOBES = 2, 6
LEVEL = 0.05
NARROWEST, WIDEST = 0.5, 1.5


@dataclass(frozen=True)
class Lobes:
    """What was found: `lobes` and their height from valley to top where they are named;
    how many look the same.
    """

    form: Form
    lobes: int | None = None
    height_nm: float | None = None
    or_lobes: int | None = None


def lobes_of(
    points: Sequence[Point],
    circle: Circle,
    step_nm: float,
    repeated_squares_nm2: float = 0.0,
    repeated_degrees: int = 0,
) -> Lobes:
    """Return what these places tell.
    `step_nm` is the display's; the squares are those of repeated touches.
    """
    count = len(points)
    few: dict[int, Form] = {CANNOT_SHOW: "cannot_show", NOT_HOW: "not_how", MAY_MISS: "may_miss"}
    if count in few:
        return Lobes(few[count])
    angles = np.array([math.atan2(y - circle.y, x - circle.x) for x, y in points])
    if not _is_even(angles):
        return Lobes("uneven")
    waves = range(LEAST_LOBES, min(MOST_LOBES, (count - 1) // 2) + 1)
    found = [_wave(lobes, angles, circle, step_nm, repeated_squares_nm2, repeated_degrees) for lobes in waves]
    chance, lobes, height_nm = min(found)
    if chance >= LEVEL / len(found):
        return Lobes("none_found")
    other = count - lobes
    return Lobes("named", lobes, height_nm, other if other <= MOST_LOBES and other != lobes else None)


def _is_even(angles: NDArray[np.float64]) -> bool:
    turns = np.sort(angles)
    gaps = np.diff(np.append(turns, turns[0] + 2 * math.pi)) * len(turns) / (2 * math.pi)
    return bool(gaps.min() >= NARROWEST and gaps.max() <= WIDEST)


def _wave(
    lobes: int,
    angles: NDArray[np.float64],
    circle: Circle,
    step_nm: float,
    repeated_squares_nm2: float,
    repeated_degrees: int,
) -> tuple[float, int, float]:
    """Return how likely chance alone makes such a wave, its periods, and its height from valley to top."""
    distances = np.array(circle.residuals)
    ring = np.column_stack([np.cos(angles), np.sin(angles), np.ones(len(angles))])
    whole = np.column_stack([ring, np.cos(lobes * angles), np.sin(lobes * angles)])
    (*_, cosine, sine), *_ = np.linalg.lstsq(whole, distances, rcond=None)
    left_nm2 = _left(whole, distances)
    degrees = len(angles) - 5 + repeated_degrees
    variance = max((left_nm2 + repeated_squares_nm2) / degrees, step_nm**2 / 12)
    height_nm = 2 * math.hypot(cosine, sine)
    if variance == 0:
        return (0.0 if height_nm > 0 else 1.0), lobes, height_nm
    ratio = max(0.0, _left(ring, distances) - left_nm2) / 2 / variance
    return float(special.fdtrc(2, degrees, ratio)), lobes, height_nm


def _left(matrix: NDArray[np.float64], distances: NDArray[np.float64]) -> float:
    """Return the sum of squares that is left once these columns are taken out."""
    taken = matrix @ np.linalg.lstsq(matrix, distances, rcond=None)[0]
    return float((distances - taken) @ (distances - taken))
