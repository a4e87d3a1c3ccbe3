"""The program's own typeface, cut from an open family at the first start and kept in a folder.

The family is IBM Plex Sans (SIL Open Font License 1.1), which comes as a pinned dependency. It was chosen
from rendered samples for figures that cannot be mistaken at arm's length: 1 has a flag and a foot, 6, 8 and 9
are open, I has serifs and l has a tail, all figures and the signs between them have one width, and it has the
true minus.

Rules of this module:
- 0 carries a dot, everywhere, so that it is neither O nor Ø nor 8:
  the dotted form takes the place of the plain one.
- A changed copy may not carry the reserved name of the original (licence, clause 3):
  ours has a name of its own, and keeps the copyright and licence notices (clause 2).
- The same input gives the same bytes: no time of making is written.
  The file's name holds a digest of all that went in.
- What a font lacks is a fault of the page that asks for it: `COVERAGE` says what the page may rely on.
"""

from __future__ import annotations

import hashlib
import io
import os
import sys
import tempfile
from functools import lru_cache
from pathlib import Path
from typing import Any

import fontpkg_ibm_plex_sans
import fontTools

FAMILY = "Zerokeep Sans"
WEIGHTS = {"regular": 400, "semibold": 600, "bold": 700}
WEB_FONTS = ("regular", "semibold")
NAME_FONTS = ("regular-names", "semibold-names")
"""Greek and Cyrillic for the screens, in the weights of the rest:
a browser fetches them where such a name stands (`NAME_RANGE`).
"""
NAME_RANGE = "U+370-52F"

SIGNS = "−≠×…–—‘’“”‚„•′″≤≥≈→←↑↓Δµσ√✓‰€"
_LATIN = frozenset(range(0x20, 0x7F)) | frozenset(range(0xA0, 0x180))
COVERAGE = _LATIN | frozenset(map(ord, SIGNS))
"""Code points that both the screens and the record may use:
Latin, Latin-1, Latin Extended-A and the signs above.
"""
_NAMES = frozenset(range(0x370, 0x530))  # names in Greek and Cyrillic
_RECORD = COVERAGE | _NAMES

DEFAULT_FOLDER = Path(sys.prefix) / "share" / "zerokeep-fonts"

_SOURCE = Path(fontpkg_ibm_plex_sans.ROOT) / "files" / "IBMPlexSans[wdth,wght].ttf"
_DOTTED_ZERO = "zero.alt01"
_KEPT_NAMES = (0, 13, 14)  # copyright, licence, where the licence stands (OpenType `name` table)
# Raise them when the steps below change, so that no older file is taken for a new one.
_RECIPE, _WEB_RECIPE = 1, 2


def font_files(folder: Path | None = None) -> dict[str, Path]:
    """Return the record's font files: `regular`, `semibold`, `bold` -> path of a TrueType file in `folder`.

    They also hold Greek and Cyrillic as far as the family does. Made on the first call, some seconds once.
    Raises OSError if the folder cannot be written.
    """
    return {name: _record_font(name, folder or DEFAULT_FOLDER) for name in WEIGHTS}


def web_font(name: str, folder: Path | None = None) -> bytes:
    """Return the WOFF2 file for `name` (one of WEB_FONTS or NAME_FONTS),
    about 18 or 25 kB, made once and then read from `folder`.

    Raises KeyError for another name, OSError if the folder cannot be written.
    """
    if name not in (*WEB_FONTS, *NAME_FONTS):
        raise KeyError(name)
    folder = folder or DEFAULT_FOLDER
    path = _path(name, "woff2", folder)
    if not path.exists():
        letters = COVERAGE if name in WEB_FONTS else _NAMES - COVERAGE
        _write_whole(path, _web_font_bytes(_record_font(weight_name(name), folder), letters))
    return path.read_bytes()


def weight_name(name: str) -> str:
    """Return which of WEIGHTS a web font has."""
    return name.partition("-")[0]


def _record_font(name: str, folder: Path) -> Path:
    path = _path(name, "ttf", folder)
    if not path.exists():
        _write_whole(path, _record_font_bytes(name))
    return path


def _path(name: str, kind: str, folder: Path) -> Path:
    """Return where this font lies;
    another source, recipe or version of the cutting tools is another place.
    """
    recipe = _RECIPE if kind == "ttf" else _WEB_RECIPE
    made_from = (
        f"{recipe} {fontTools.version} {_source_digest()} {sorted(_RECORD)} {sorted(COVERAGE)}".encode()
    )
    return folder / f"zerokeep-{name}-{hashlib.sha256(made_from).hexdigest()[:12]}.{kind}"


def _record_font_bytes(name: str) -> bytes:
    """Cut one weight out of the variable family: our letters, the dotted zero, our name."""
    from fontTools.varLib.instancer import instantiateVariableFont  # noqa: PLC0415 - see _opened

    font = _opened(_SOURCE)
    for table in font["cmap"].tables:
        if ord("0") in table.cmap:
            table.cmap[ord("0")] = _DOTTED_ZERO
    _keep_letters(font, _RECORD)
    instantiateVariableFont(font, {"wght": WEIGHTS[name], "wdth": 100}, inplace=True)
    _rename(font, name)
    return _saved(font)


def _web_font_bytes(record_font: Path, letters: frozenset[int]) -> bytes:
    """Cut the smaller font of the screens out of the record's: fewer letters, compressed with Brotli.

    Without the table of style attributes: it points at names of the family that ours no longer carries, for
    which browsers report a fault at each load. The record's font keeps it, so that pages stay as they are.
    """
    font = _opened(record_font)
    if "STAT" in font:
        del font["STAT"]
    _keep_letters(font, letters)
    font.flavor = "woff2"
    return _saved(font)


def _opened(path: Path) -> Any:
    """A font to be cut. What cuts is read in here: where all is cut already, no start waits for it."""
    from fontTools.ttLib import TTFont  # noqa: PLC0415

    return TTFont(path, recalcTimestamp=False)


def _keep_letters(font: Any, letters: frozenset[int]) -> None:
    from fontTools.subset import Options, Subsetter  # noqa: PLC0415 - see _opened

    features = ["ccmp", "kern", "locl", "mark", "mkmk"]
    subsetter = Subsetter(Options(hinting=False, layout_features=features, name_IDs=["*"]))
    subsetter.populate(unicodes=letters)
    subsetter.subset(font)


def _saved(font: Any) -> bytes:
    whole = io.BytesIO()
    font.save(whole)
    return whole.getvalue()


def _rename(font: Any, name: str) -> None:
    """Give the changed font its own name; keep what the licence asks to keep."""
    names = font["name"]
    names.names = [record for record in names.names if record.nameID in _KEPT_NAMES]
    style = name.capitalize()
    own = {1: f"{FAMILY} {style}", 2: "Regular", 3: f"{FAMILY} {style}", 4: f"{FAMILY} {style}",
           6: f"{FAMILY.replace(' ', '')}-{style}", 16: FAMILY, 17: style}  # fmt: skip
    for identifier, text in own.items():
        names.setName(text, identifier, 3, 1, 0x409)
    font["OS/2"].usWeightClass = WEIGHTS[name]


@lru_cache(maxsize=1)
def _source_digest() -> str:
    return hashlib.sha256(_SOURCE.read_bytes()).hexdigest()


def _write_whole(path: Path, data: bytes) -> None:
    """Write the file so that nobody, and no second start at the same moment, ever reads half of it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


if __name__ == "__main__":  # the set-up runs this file by its path, so that nobody waits for it later
    font_files()
    for web_name in (*WEB_FONTS, *NAME_FONTS):
        web_font(web_name)
