"""A head of the ledger as a record carries it, and what a record's own file is known by.

They stand by themselves so that whoever reads heads alone, as the audit does, loads no rules of setups.
"""

from __future__ import annotations

from typing import TypedDict

RECORD_DOMAIN = "zerokeep/record/1"
LARGEST_FILE_BYTES = 8 * 1024 * 1024


class LedgerHead(TypedDict):
    """How long the ledger was, and its root in lower-case hex."""

    size: int
    root: str
