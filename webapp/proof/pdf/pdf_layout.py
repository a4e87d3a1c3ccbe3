"""Where things lie in a sealed PDF, found in its raw bytes.

Nothing here interprets the PDF as a viewer would: whoever alters a file decides what a parser sees, but not
where the sealed bytes are. The forms looked for are exactly those that `pdf_update` writes; any other form is
no seal of ours.
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO

from cryptography import x509
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.misc import PdfError

from webapp.proof.pdf import cms, pdf_update
from webapp.proof.pdf.pdf_update import PreparedPdf, SealWords

END_OF_FILE = b"%%EOF\n"
LONGEST_TAIL = 64 * 1024

_SEAL = re.compile(rb"/Contents <([^<>]*)>\n/ByteRange \[([0-9 ]*)\] *\n/Type /Sig\n")
_WORDS = re.compile(rb"/M (\([^\n]{0,64}\))\n/Name (\([^\n]{0,9000}\))\n/Reason (\([^\n]{0,9000}\))\n")
_WRITER = re.compile(rb"/Name /zerokeep\n/REx (\([^\n]{0,200}\))\n>>\n>>\n")
_OBJECT = re.compile(rb"(?:^|\n)(\d+) 0 obj\n")


@dataclass(frozen=True, slots=True)
class Seal:
    """The signature container and the byte range as they stand in the file; offsets as in `PreparedPdf`."""

    contents_start: int
    contents_end: int
    hex_digits: bytes
    byte_range: bytes

    def covers_all_of(self, length: int) -> bool:
        """Whether the byte range is everything but the container, in the one way of writing it."""
        expected = b"0 %d %d %d" % (self.contents_start, self.contents_end, length - self.contents_end)
        return self.byte_range == expected


def find_seals(pdf: bytes) -> list[Seal]:
    """Every stretch that has the form of a seal."""
    return [
        Seal(match.start(1) - 1, match.end(1) + 1, match.group(1), match.group(2))
        for match in _SEAL.finditer(pdf)
    ]


def base_length(pdf: bytes) -> int:
    """How many bytes came before the last update:
    up to and with the last but one end-of-file mark; 0 if none.
    """
    found = pdf[: -len(END_OF_FILE)].rfind(END_OF_FILE)
    return found + len(END_OF_FILE) if found >= 0 else 0


def _window(pdf: bytes) -> int:
    """Where to look for the seal's own entries from: its dictionary stands near the end of what it added. The
    bound keeps a file that was made to be slow to search from being so.
    """
    return max(base_length(pdf), len(pdf) - LONGEST_TAIL)


def read_words(pdf: bytes) -> SealWords | None:
    """What the seal says in the open, or None if it cannot be read in the form it is written in."""
    match = _WORDS.search(pdf, _window(pdf))
    if match is None:
        return None
    try:
        moment, name, reason = (str(generic.read_object(BytesIO(text), _NOWHERE)) for text in match.groups())
        at = datetime.strptime(moment, "D:%Y%m%d%H%M%SZ").replace(tzinfo=UTC)
    except (PdfError, ValueError):
        return None
    return SealWords(at, name, reason)


def read_writer(pdf: bytes) -> str | None:
    """Which version wrote the update, or None if that cannot be read in the form it is written in."""
    match = _WRITER.search(pdf, _window(pdf))
    try:
        return str(generic.read_object(BytesIO(match.group(1)), _NOWHERE)) if match else None
    except (PdfError, ValueError):
        return None


def words_span(pdf: bytes) -> tuple[int, int] | None:
    """Offsets of the first and behind the last byte of the seal's own words."""
    match = _WORDS.search(pdf, _window(pdf))
    return match.span() if match else None


def write_again(pdf: bytes, certificate: x509.Certificate) -> PreparedPdf | None:
    """The update as the seal would write it behind the same bytes with the same words, or None if it cannot
    be.

    The container is empty in it.
    """
    words = read_words(pdf)
    if words is None:
        return None
    try:
        return pdf_update.prepare(pdf[: base_length(pdf)], words, cms.largest_length(certificate))
    except Exception:  # noqa: BLE001 - any failure to parse altered bytes means the same: it cannot be written again
        return None


def object_before(pdf: bytes, start: int, offset: int) -> int | None:
    """Number of the object that begins last between `start` and `offset`, or None."""
    number = None
    for match in _OBJECT.finditer(pdf, start, offset + 1):
        number = int(match.group(1))
    return number


def first_difference(one: bytes, other: bytes, end: int) -> int | None:
    """Offset of the first byte below `end` in which the two differ (a missing byte differs), or None."""
    if one[:end] == other[:end]:
        return None
    low, high = 0, end
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if one[low:middle] == other[low:middle] else (low, middle)
    return low


_NOWHERE = generic.Reference(0, 0, None)
