"""Lines of a budget that hang together: which, how much, and what they then come to.

Rules of this module (JCGM 100:2008, 5.2):
- A correlation coefficient lies from -1 to 1 and stands between two different lines, once. What the lines
  come to is the sum over all pairs of sensitivity, standard uncertainty and coefficient (5.2.2, equation 16).
- Coefficients have to fit each other: where three lines are said to hang together in a way that no three
  quantities can, the sum could come out below nothing, and the choice is refused (5.2.2 takes them from one
  joint distribution).
- A line's share is its own part of the sum with its part of what it shares with others.
  Shares add up to 1; one is negative where a line takes away from what others bring.
- Welch and Satterthwaite's formula wants independent parts (G.4.1): lines that hang together count as one
  part, with the fewest degrees of freedom that one of them has (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from webapp.domain.plain.errors import DomainError

if TYPE_CHECKING:
    from webapp.domain.budget.uncertainty import BudgetLine

# What rounding of typed coefficients may bring below nothing.
ROUNDING = 1e-9


class CorrelationError(DomainError):
    """Lines cannot hang together so."""


class CorrelationOutsideError(CorrelationError):
    """The coefficient is no number from -1 to 1, or both lines are the same."""

    code = "budget.correlation_outside"
    field_names = ("typed",)


class CorrelationImpossibleError(CorrelationError):
    """No quantities hang together so: the coefficients contradict each other."""

    code = "budget.correlation_impossible"


@dataclass(frozen=True)
class Correlation:
    """Two lines, by their places in the budget, and how they hang together, from -1 to 1."""

    one: int
    other: int
    coefficient: float

    def __post_init__(self) -> None:
        if self.one == self.other or not -1 <= self.coefficient <= 1:
            raise CorrelationOutsideError(typed=str(self.coefficient))


def matrix_of(count: int, correlations: Sequence[Correlation]) -> NDArray[np.float64]:
    """Return the matrix of coefficients of so many lines. Raises `CorrelationImpossibleError`."""
    matrix = np.eye(count)
    for one in correlations:
        matrix[one.one, one.other] = matrix[one.other, one.one] = one.coefficient
    if correlations and float(np.linalg.eigvalsh(matrix).min()) < -ROUNDING:
        raise CorrelationImpossibleError
    return matrix


def parts_nm2(lines: Sequence[BudgetLine], correlations: Sequence[Correlation]) -> tuple[float, ...]:
    """Return each line's part of the sum of squares, in nm^2:
    its own square and its part of what it shares.
    """
    matrix = matrix_of(len(lines), correlations)
    brought = [line.brought_nm for line in lines]
    return tuple(
        math.fsum(float(matrix[place, other]) * mine * theirs for other, theirs in enumerate(brought) if mine)
        for place, mine in enumerate(brought)
    )


def groups(count: int, correlations: Sequence[Correlation]) -> list[list[int]]:
    """Return the places of lines that hang together, each line in one group, in the lines' order."""
    member = list(range(count))
    for one in correlations:
        if one.coefficient:
            low, high = sorted((member[one.one], member[one.other]))
            member = [low if group == high else group for group in member]
    return [[place for place in range(count) if member[place] == group] for group in dict.fromkeys(member)]


def fewest_degrees(lines: Sequence[BudgetLine]) -> float | None:
    """Return the fewest degrees of freedom among the lines that bring something,
    None where all are known exactly.
    """
    known = [one.degrees_of_freedom for one in lines if one.degrees_of_freedom is not None and one.brought_nm]
    return min(known, default=None)
