"""The application's icons, drawn by code: a graduated rule with its index line.

PNG, because a web app manifest's icons are asked for in fixed pixel sizes (W3C Web Application Manifest,
`icons`); "maskable" keeps everything inside the middle 80 % (same standard, "safe zone").
"""

import io
from functools import cache

from PIL import Image, ImageDraw

from webapp.colours import LIGHT

FINER = 4  # drawn larger, then reduced, for smooth edges
MARKS = 9
SIZES: dict[str, tuple[int, bool]] = {
    "icon-32.png": (32, False),
    "icon-180.png": (180, False),
    "icon-192.png": (192, False),
    "icon-512.png": (512, False),
    "icon-maskable-512.png": (512, True),
}


@cache
def icon(name: str) -> bytes:
    """The PNG file of this name. The same bytes every time.
    Raises KeyError for a name that is not in SIZES.
    """
    pixels, maskable = SIZES[name]
    picture = _draw(pixels * FINER, scale=0.76 if maskable else 1.0, marks=5 if pixels < 64 else MARKS)
    file = io.BytesIO()
    picture.resize((pixels, pixels), Image.Resampling.LANCZOS).save(file, "PNG", optimize=True)
    return file.getvalue()


def _draw(side: int, scale: float, marks: int) -> Image.Image:
    """The rule below, its middle mark long, and above it the index pointing down; `scale` shrinks towards the
    middle.
    """
    picture = Image.new("RGB", (side, side), LIGHT["paper"])
    pen = ImageDraw.Draw(picture)

    def at(part: float) -> float:
        return side * (0.5 + (part - 0.5) * scale)

    half_wide = 0.014 if marks > 5 else 0.035
    pen.rectangle((at(0.1), at(0.80 - half_wide), at(0.9), at(0.80 + 2 * half_wide)), fill=LIGHT["ink"])
    for number in range(marks):
        middle, end = number == marks // 2, number in {0, marks - 1}
        tall = 0.30 if middle else 0.20 if end else 0.13
        x = min(max(0.1 + 0.8 * number / (marks - 1), 0.1 + half_wide), 0.9 - half_wide)
        pen.rectangle((at(x - half_wide), at(0.80 - tall), at(x + half_wide), at(0.80)), fill=LIGHT["ink"])
    pen.polygon(((at(0.37), at(0.20)), (at(0.63), at(0.20)), (at(0.5), at(0.47))), fill=LIGHT["ink"])
    return picture
