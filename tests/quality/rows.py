"""One line of the table that is kept: a figure, what it has to stay within, and whether it does."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """A figure of today's program. `low` and `high` are what it may be (None: no bound on that side).

    `error` is the standard error of the simulation, 0 for what chance has no part in.
    The verdict takes the figure as it is: the bounds are the requirement, not a target to be near to.
    """

    item: int
    what: str
    figure: float
    low: float | None = None
    high: float | None = None
    error: float = 0.0

    @property
    def holds(self) -> bool:
        """Tell whether the figure is a number inside its bounds."""
        low = -math.inf if self.low is None else self.low
        high = math.inf if self.high is None else self.high
        return math.isfinite(self.figure) and low <= self.figure <= high

    @property
    def bound(self) -> str:
        """Return the bounds in words."""
        if self.low is None and self.high is None:
            return "stated"
        if self.low is None:
            return f"at most {self.high:g}"
        if self.high is None:
            return f"at least {self.low:g}"
        return f"{self.low:g} to {self.high:g}"

    @property
    def verdict(self) -> str:
        """Return what the table says of it."""
        if self.low is None and self.high is None:
            return "–"
        return "holds" if self.holds else "DOES NOT HOLD"


Part = Callable[[int, int], Iterator[Row]]


def shown(figure: float) -> str:
    """Return a figure with what can be read of it."""
    return f"{figure:.0f}" if abs(figure) >= 100 else f"{figure:.3g}"


def per_cent_of(shares: list[float]) -> tuple[float, float]:
    """Return the mean of chances in per cent and its standard error."""
    mean = sum(shares) / len(shares)
    spread = math.sqrt(sum((one - mean) ** 2 for one in shares) / max(1, len(shares) - 1))
    return 100 * mean, 100 * spread / math.sqrt(len(shares))
