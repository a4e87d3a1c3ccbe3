"""How large a PDF becomes once its streams are unfolded, found without reading it as a document.

Rules: every place where a stream may begin is tried as Flate (ISO 32000-2 clause 7.4.4, from memory), in small steps,
and left as soon as the bound is passed; a file that names filters in a list, which could unfold twice, counts as too
large. What the work of looking costs is bounded by the same number.
"""

import re
import zlib
from itertools import islice

_STREAM = re.compile(rb"stream\r?\n")
_SEVERAL_FILTERS = re.compile(rb"/Filter\s*\[")
_STEP_BYTES = 64 * 1024
MOST_STREAMS = 100_000


def swells(pdf: bytes, most_bytes: int) -> bool:
    """Whether the streams of this file come to more than so many bytes."""
    if _SEVERAL_FILTERS.search(pdf):
        return True
    left = most_bytes
    for found in islice(_STREAM.finditer(pdf), MOST_STREAMS):
        left -= _work(pdf, found.end(), left)
        if left < 0:
            return True
    return False


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
