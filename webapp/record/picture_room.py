"""The process that reads a picture that somebody sent, and makes it again as pixels alone.

Rules of this module:
- What a file is, is told by what is in it: a JPEG file (ITU-T T.81), of the pixels that its event says.
- Size and number of scans are read from the headers before anything is decoded: a file of some kilobytes may
  unfold to gigabytes, or keep a decoder busy for minutes.
- What comes out carries pixels and no word of the file that came: no place, no time, no camera, no profile
  (OWASP ASVS 5.0, 14.2.8). The way up that the file names is applied first.
- The process has limits and gives up everything else before it decodes (`webapp.record.confinement`).
- The answer is "R" once it is ready, then "J" and the picture, or "E" and the code of the refusal.
"""

from __future__ import annotations

import io
import os
import struct
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from webapp.domain.evidence.event_kinds import LARGEST_PHOTO_BYTES, LONGEST_PHOTO_SIDE_PX
from webapp.domain.procedure.pictures import LARGEST_BYTES, LONGEST_SIDE_PX

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.JpegImagePlugin import JpegImageFile

DECODE_SECONDS = 10
# A camera's progressive file has about ten; the standard sets no end.
MOST_SCANS = 32
START_OF_SCAN = b"\xff\xda"
QUALITY = 82
# What a camera or a folder may give for a step: as most telephones write, and no more.
LARGEST_CAMERA_BYTES = 12 * 1024 * 1024
MOST_PIXELS = 50_000_000
QUALITIES = (82, 68, 50, 35)
READY, PICTURE, REFUSED = b"R", b"J", b"E"
# What the reader of the format lets through from a file that is broken.
UNREADABLE = (
    OSError,
    SyntaxError,
    ValueError,
    TypeError,
    LookupError,
    EOFError,
    struct.error,
    ArithmeticError,
)


class Unfit(Exception):
    """The file is no picture that can be kept: a code of the words catalogue, whose words need nothing."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


def made_again(data: bytes, width: int, height: int) -> bytes:
    """Return a JPEG file of the same pixels and nothing else. `width` and `height` are what the event says.

    Raises Unfit.
    """
    picture = _opened(data, width, height)
    from PIL import ImageOps  # noqa: PLC0415 - loaded before, under the memory limit

    try:
        picture.load()
        upright = ImageOps.exif_transpose(picture).convert("RGB")
    except UNREADABLE:
        raise Unfit("picture.broken") from None
    return _written(upright)


def shrunk(data: bytes) -> bytes:
    """Return a small JPEG file of a camera's, behind its width and height (two bytes each, high first).

    What is far too large is never decoded whole: the decoder leaves pixels out while it reads.
    Raises Unfit.
    """
    from PIL import ImageOps  # noqa: PLC0415 - loaded before, under the memory limit

    picture = _camera_file(data)
    try:
        picture.draft("RGB", (LONGEST_SIDE_PX, LONGEST_SIDE_PX))
        picture.load()
        upright = ImageOps.exif_transpose(picture).convert("RGB")
        upright.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
    except (*UNREADABLE, MemoryError):
        raise Unfit("picture.broken") from None
    made = (_written(upright, quality) for quality in QUALITIES)
    small = next((one for one in made if len(one) <= LARGEST_BYTES), None)
    if small is None:
        raise Unfit("picture.not_small_enough")
    return struct.pack(">HH", *upright.size) + small


def _camera_file(data: bytes) -> JpegImageFile:
    """Look at the headers of a file from a camera or a folder."""
    from PIL.JpegImagePlugin import JpegImageFile  # noqa: PLC0415 - as below

    if not 0 < len(data) <= LARGEST_CAMERA_BYTES:
        raise Unfit("picture.too_large_a_file")
    try:
        picture = JpegImageFile(io.BytesIO(data))
    except UNREADABLE:
        raise Unfit("picture.not_jpeg") from None
    if picture.width * picture.height > MOST_PIXELS:
        raise Unfit("picture.too_many_pixels")
    if data.count(START_OF_SCAN) > MOST_SCANS:
        raise Unfit("picture.too_many_scans")
    return picture


def _opened(data: bytes, width: int, height: int) -> Image:
    """Look at the headers. The class itself is called: `Image.open` would guess among many formats."""
    from PIL.JpegImagePlugin import JpegImageFile  # noqa: PLC0415 - as above

    if not 0 < len(data) <= LARGEST_PHOTO_BYTES:
        raise Unfit("picture.too_many_bytes")
    try:
        picture = JpegImageFile(io.BytesIO(data))
    except UNREADABLE:
        raise Unfit("picture.not_jpeg") from None
    found = picture.size
    if max(found) > LONGEST_PHOTO_SIDE_PX or found != (width, height):
        raise Unfit("picture.other_size")
    if data.count(START_OF_SCAN) > MOST_SCANS:
        raise Unfit("picture.too_many_scans")
    return picture


def _written(picture: Image, quality: int = QUALITY) -> bytes:
    from PIL import Image as images  # noqa: N813, PLC0415 - a module with the name of its class

    # A new one: what the file said beside its pixels stays behind with the old one.
    bare = images.frombytes("RGB", picture.size, picture.tobytes())
    written = io.BytesIO()
    bare.save(written, "JPEG", quality=quality, optimize=True)
    return written.getvalue()


def main() -> None:
    """Read the file from the standard input, give up everything, answer once."""
    from webapp.record import confinement  # noqa: PLC0415 - the limit comes before what is large

    confinement.limit_memory()
    from PIL import Image, ImageOps, JpegImagePlugin  # noqa: F401, PLC0415 - loads the decoder

    from webapp.record.press_room import readable_folders  # noqa: PLC0415

    size = [int(one) for one in sys.argv[1:3]]
    data = sys.stdin.buffer.read((LARGEST_PHOTO_BYTES if size else LARGEST_CAMERA_BYTES) + 1)
    answers = os.fdopen(os.dup(1), "wb")
    confinement.confine(Path(tempfile.gettempdir()), readable_folders())
    confinement.limit_time(DECODE_SECONDS)
    answers.write(READY)
    answers.flush()
    answers.write(_answer(data, size))
    answers.flush()


def _answer(data: bytes, size: list[int]) -> bytes:
    try:
        return PICTURE + (made_again(data, *size) if size else shrunk(data))
    except Unfit as unfit:
        return REFUSED + unfit.code.encode()


if __name__ == "__main__":
    main()
