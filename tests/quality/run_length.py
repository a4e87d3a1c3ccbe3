"""How many setups pass, on average, until a chart signals: the average run length (ARL).

Rules of this module:
- Individuals chart with known parameters: 1 / p, p the chance of one value beyond its limits.
- EWMA: the statistic's range is cut into cells and followed as a Markov chain (Brook and Evans, Biometrika
  59, 1972; Lucas and Saccucci, Technometrics 32, 1990), zero state, asymptotic limits. An odd number of cells
  puts one on zero.
- Both charts together: a value beyond the individuals limits signals whatever the EWMA says.
- Parameters estimated from few values make run lengths shorter on average and far more scattered;
  that is measured by simulation, not here.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from webapp.domain.usual.drift import D2, ChartLimits

CELLS = 201
# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: D4 for ranges of two.
D4 = 3.267
# What is published for charts of this kind; the program shows wider ones, and says why in drift.py.
PUBLISHED = ChartLimits(3.0, 2.962, D4 * D2)


def individuals_run_length(limit: float = 3.0, shift: float = 0.0) -> float:
    """Return the ARL of an individuals chart with limits at ± `limit` sigma,
    after a shift of so many sigma.
    """
    return float(1 / (special.ndtr(-limit - shift) + special.ndtr(-limit + shift)))


def ewma_run_length(
    weight: float,
    limit: float,
    shift: float = 0.0,
    individuals_limit: float | None = None,
    cells: int = CELLS,
) -> float:
    """Return the ARL of an EWMA chart (weight 0 to 1, limit in sigma of the EWMA), alone or with an
    individuals chart.
    """
    half = limit * np.sqrt(weight / (2 - weight))
    width = 2 * half / cells
    centres = -half + (np.arange(cells) + 0.5) * width
    # From cell i the value must fall between these for the EWMA to land in cell j.
    edges = -half + np.arange(cells + 1) * width
    values = (edges[None, :] - (1 - weight) * centres[:, None]) / weight
    if individuals_limit is not None:
        values = np.clip(values, -individuals_limit, individuals_limit)
    moves = np.diff(special.ndtr(values - shift), axis=1)
    lengths = np.linalg.solve(np.eye(cells) - moves, np.ones(cells))
    return float(lengths[cells // 2])
