"""The head of the ledger that a sealed record carries, read quickly from bytes whose hash is known to be
right.

Rules: an audit looks at every record that there is, so no PDF is taken apart for it: the record's own file
is found among the streams by what it says of itself. Whether the seal holds and the pages fit is the judges'
to say (record_verify.py).
"""

from __future__ import annotations

import re
import zlib

from webapp.domain.plain.json_strict import JsonError, read_json
from webapp.domain.record.ledger_head import LARGEST_FILE_BYTES, RECORD_DOMAIN, LedgerHead

STREAM = re.compile(rb"stream\r?\n")
BEGINS = 4096


def printed_head(pdf: bytes) -> LedgerHead | None:
    """The head in this record; None where it has none that can be read."""
    for found in STREAM.finditer(pdf):
        unfolding = zlib.decompressobj()
        try:
            begin = unfolding.decompress(pdf[found.end() :], BEGINS)
            if RECORD_DOMAIN.encode() not in begin:
                continue
            whole = begin + unfolding.decompress(unfolding.unconsumed_tail, LARGEST_FILE_BYTES)
            head = read_json(whole, LARGEST_FILE_BYTES)["ledger"]
            return {"size": int(head["size"]), "root": str(head["root"])}
        except (zlib.error, JsonError, KeyError, TypeError, ValueError):
            continue
    return None
