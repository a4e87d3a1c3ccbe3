"""Editions of a record's pages, so that old records outlive new pages.

Rules of this module:
- `PAGES_EDITION` is raised with every change that prints another byte for the same bundle:
  a template, the style sheet, a sentence, a drawing, a rule of the fold that old events meet.
- A record names the edition that printed it.
  One that names none was printed before editions were named: by the first.
- Only the edition of this program can be printed again. A record of another edition is judged by seal, events
  and ledger, and its report says that its pages were not printed again: they are what the seal covers, no
  more.
- Every edition leaves sealed records under `tests/evidence`,
  made while it was in use and never touched again.
"""

from collections.abc import Mapping

PAGES_EDITION = 4
FIRST_EDITION = 1
# From this one on every record carries where its entries stand in the ledger: one without was robbed of it.
PLACES_SINCE = 3


def edition_of(record: Mapping[str, object]) -> int | None:
    """Return the edition that a record names (from 1 on), None where what it names is no edition."""
    named = record.get("edition", FIRST_EDITION)
    if type(named) is int and named >= FIRST_EDITION:
        return named
    return None
