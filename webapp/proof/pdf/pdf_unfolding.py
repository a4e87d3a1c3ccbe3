"""How large a PDF becomes once its streams are unfolded, found without reading it as a document.

Rules: every place where a stream may begin is tried as Flate (ISO 32000-2 clause 7.4.4, from memory), in
small steps, and left as soon as the bound is passed; a file that names several filters, which could unfold
twice, or names them so that they cannot be told, counts as too large. What the work of looking costs is
bounded by the same number.
"""

import re
import zlib
from itertools import islice

# Blanks before the line end are in no standard, and readers take them all the same.
_STREAM = re.compile(rb"stream[ \t\0\f]*\r?\n")
_GAP = rb"(?:[\s\0]|%[^\r\n]*[\r\n])*"
# A list of anything but Flate alone, a filter that stands in another object,
# one that is no Flate and unfolds as far.
_NOT_TOLD = re.compile(rb"/Filter" + _GAP + rb"(?:\[(?!" + _GAP + rb"/FlateDecode" + _GAP + rb"\])|\d|/LZW)")
_SPELLED_OUT = re.compile(rb"/((?:[A-Za-z]|#[0-9A-Fa-f]{2})+)")
_STEP_BYTES = 64 * 1024
MOST_STREAMS = 100_000


def swells(pdf: bytes, most_bytes: int) -> bool:
    """Whether the streams of this file come to more than so many bytes."""
    if _NOT_TOLD.search(pdf) or _hides_filters(pdf):
        return True
    left = most_bytes
    for found in islice(_STREAM.finditer(pdf), MOST_STREAMS):
        left -= _work(pdf, found.end(), left)
        if left < 0:
            return True
    return False


def _hides_filters(pdf: bytes) -> bool:
    """Whether a name says Filter with some of its letters
    as numbers (ISO 32000-2 clause 7.3.5, from memory).
    """
    names = {found[1] for found in _SPELLED_OUT.finditer(pdf) if b"#" in found[1]}
    return any(_plain(name) in {b"Filter", b"FlateDecode", b"LZWDecode"} for name in names)


def _plain(name: bytes) -> bytes:
    return re.sub(rb"#([0-9A-Fa-f]{2})", lambda found: bytes([int(found[1], 16)]), name)


def _work(pdf: bytes, start: int, most_bytes: int) -> int:
    """Bytes read and given by the stream that begins here, no more than a step beyond the most."""
    unfolding, done = zlib.decompressobj(), 0
    try:
        for place in range(start, len(pdf), _STEP_BYTES):
            piece = pdf[place : place + _STEP_BYTES]
            done += len(piece)
            while piece and not unfolding.eof and done <= most_bytes:
                done += len(unfolding.decompress(piece, _STEP_BYTES))
                piece = unfolding.unconsumed_tail
            if unfolding.eof or done > most_bytes:
                return done
    except zlib.error:
        pass  # no Flate, or no further
    return done
