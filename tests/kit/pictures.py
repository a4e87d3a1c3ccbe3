"""Pictures for tests, drawn here: no photograph of anybody's shop."""

from __future__ import annotations

import io
import struct
from functools import cache
from hashlib import sha256
from typing import Any

from PIL import Image, ImageCms, ImageDraw

SIZE = (640, 480)


def drawn(size: tuple[int, int] = SIZE) -> Image.Image:
    """Something with edges and areas, as a vise has."""
    width, height = size
    picture = Image.new("RGB", size, (90, 96, 104))
    draw = ImageDraw.Draw(picture)
    draw.rectangle((width // 8, height // 3, width // 2, height - height // 6), fill=(180, 186, 190))
    draw.rectangle((width // 2 + 8, height // 3, width - width // 8, height - height // 6), fill=(60, 66, 74))
    draw.line((0, height // 2, width, height // 3), fill=(230, 120, 20), width=5)
    return picture


def jpeg(size: tuple[int, int] = SIZE, **how: Any) -> bytes:
    """A JPEG file with nothing but its pixels."""
    written = io.BytesIO()
    drawn(size).save(written, "JPEG", quality=85, **how)
    return written.getvalue()


@cache
def tagged_jpeg(orientation: int = 1, size: tuple[int, int] = SIZE) -> bytes:
    """A JPEG file as a camera writes one: with a place, a maker, a comment and a profile."""
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = orientation, "Somebody's camera"
    exif.get_ifd(0x8825).update({1: "N", 2: (46.0, 12.0, 30.0), 3: "E", 4: (7.0, 30.0, 0.0)})
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    xmp = b"http://ns.adobe.com/xap/1.0/\x00<x:xmpmeta/>"
    data = jpeg(size, exif=exif, icc_profile=profile, comment=b"a comment")
    return data[:2] + b"\xff\xe1" + struct.pack(">H", len(xmp) + 2) + xmp + data[2:]


def jpeg_that_says(width: int, height: int) -> bytes:
    """A small JPEG file whose header claims another size."""
    data = bytearray(jpeg((64, 64)))
    place = data.index(b"\xff\xc0") + 5
    data[place : place + 4] = struct.pack(">HH", height, width)
    return bytes(data)


def claim(data: bytes, size: tuple[int, int] = SIZE) -> dict[str, Any]:
    """What an event says of a file."""
    return {"sha256": sha256(data).hexdigest(), "bytes": len(data), "width": size[0], "height": size[1]}
