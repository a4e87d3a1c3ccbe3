"""What the lead says of lines that hang together, on one axis or on all, as it is typed and as it is stored.

Rules of this module:
- A pair of lines goes by the names that the lines go by (see `lines`), in the order of their names,
  so that it stands there once. The word for one axis comes before the one for all.
- On an axis without one of the two lines nothing hangs together:
  the lead's word waits until the line is back.
- A coefficient is typed as a plain decimal from -1 to 1,
  with at most four decimals, and kept as it was typed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import cast

from webapp.domain.budget.correlated import Correlation, CorrelationError, CorrelationOutsideError
from webapp.domain.budget.lines import CorrelationData, NamedLine

LONGEST_SHOWN = 40
_COEFFICIENT = re.compile(r"[+\-−]?(0?[.,][0-9]{1,4}|[01]([.,][0-9]{0,4})?)")


class CorrelationStoredWrongError(CorrelationError):
    """A stored word about two lines cannot be read."""

    code = "budget.correlation_unreadable"


@dataclass(frozen=True)
class LeadCorrelation:
    """Two lines by name, the axis (None: every one), and how they hang together as a decimal text."""

    one: str
    other: str
    axis: str | None
    coefficient: str

    @property
    def pair(self) -> tuple[str, str, str | None]:
        """Return what there is only one word about."""
        return self.one, self.other, self.axis

    def as_plain(self) -> CorrelationData:
        """Return plain data for JSON."""
        return cast("CorrelationData", asdict(self))


def read_correlation(*, one: str, other: str, axis: str, coefficient: str) -> LeadCorrelation:
    """Return the lead's word in these typed fields; an empty `axis` means every axis.

    Raises `CorrelationOutsideError` for a coefficient that is none, or one line twice.
    """
    text = coefficient.strip().replace(",", ".").replace("−", "-")
    if one == other or not _COEFFICIENT.fullmatch(text) or abs(float(text)) > 1:
        raise CorrelationOutsideError(typed=coefficient[:LONGEST_SHOWN])
    first, second = sorted((one, other))
    return LeadCorrelation(first, second, axis or None, text)


def lead_correlations(values: Sequence[Mapping[str, object]]) -> tuple[LeadCorrelation, ...]:
    """Return the words in this stored data. Raises `CorrelationStoredWrongError`."""
    found = []
    for value in values:
        texts = [value.get(name) for name in ("one", "other", "axis", "coefficient")]
        one, other, axis, coefficient = ("" if text is None else text for text in texts)
        if not (isinstance(one, str) and isinstance(other, str) and isinstance(axis, str)):
            raise CorrelationStoredWrongError
        try:
            found.append(read_correlation(one=one, other=other, axis=axis, coefficient=str(coefficient)))
        except CorrelationOutsideError:
            raise CorrelationStoredWrongError from None
    return tuple(found)


def on_axis(
    words: Sequence[LeadCorrelation], lines: Sequence[NamedLine], axis: str
) -> tuple[Correlation, ...]:
    """Return how the lines of this axis hang together, by their places."""
    places = {named.id: place for place, named in enumerate(lines)}
    found: dict[tuple[str, str], Correlation] = {}
    for wanted in (axis, None):
        for word in words:
            pair = word.one, word.other
            if word.axis == wanted and pair not in found and set(pair) <= set(places):
                found[pair] = Correlation(places[word.one], places[word.other], float(word.coefficient))
    return tuple(found.values())
