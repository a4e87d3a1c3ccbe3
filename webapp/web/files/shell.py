"""The files a page is made of, read once at start and served under one version.

Rules: the version is a hash over every file, so two servers with the same files give the same version, and a
changed file gives another one. Files lie under `/assets/<version>/`, where modules that import each other
stay within their version: a tablet has a version whole or not at all. What is under a version never changes
(RFC 8246, immutable).

The tablet's page asks for its modules, its style sheets and its words in one file each (joining.py): on a
slow tablet eighty requests took longer than everything else of a start. Which modules these are follows from
their imports.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from webapp.web.files import joining

TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json; charset=utf-8",
    ".svg": "image/svg+xml; charset=utf-8",
    ".png": "image/png",
    ".woff2": "font/woff2",
}
WORKER_FILES = ("sw.js", "sw-cache.js")
VERSION_DIGITS = 16
TABLET_ENTRY, GLASS_ENTRY = "js/main.js", "js/glass.js"
# In the order of the cascade.
TABLET_SHEETS = tuple(
    f"css/{name}.css"
    for name in (
        "fonts", "tokens", "base", "tablet", "scale", "plate", "keypad", "step", "lists", "drawing", "photo",
        "square",
    )
)  # fmt: skip
TABLET_WORDS = tuple(
    f"words/en/{name}.json" for name in ("tablet", "numbers", "drawing", "causes", "messages", "services")
)
JOINED = "joined/"


@dataclass(frozen=True)
class File:
    """One file as it is sent."""

    body: bytes
    content_type: str


@dataclass(frozen=True)
class Shell:
    """All files of one version: `assets` by path under `/assets/<version>/`,
    `fonts` by name under `/fonts/`.
    """

    version: str
    assets: Mapping[str, File]
    fonts: Mapping[str, File]
    icons: Mapping[str, File]

    def address(self, path: str) -> str:
        """Where this asset is served. Raises KeyError if there is no such file."""
        if path not in self.assets:
            raise KeyError(path)
        return f"/assets/{self.version}/{path}"

    def kept_on_tablets(self) -> list[str]:
        """Addresses of everything that a tablet keeps for working without the network,
        the page itself included.
        """
        assets = [self.address(path) for path in sorted(self.assets) if path.startswith(JOINED)]
        fonts = [f"/fonts/{name}" for name in sorted(self.fonts)]
        icons = [f"/icons/{name}" for name in sorted(self.icons)]
        return ["/tablet", "/manifest.webmanifest", *assets, *fonts, *icons]


def read_shell(
    static: Path, pages: Iterable[Path], fonts: Mapping[str, bytes], icons: Mapping[str, bytes], font_css: str
) -> Shell:
    """Read every file under `static`; `pages` are templates whose text counts towards the version."""
    assets = {
        path.relative_to(static).as_posix(): File(path.read_bytes(), TYPES[path.suffix])
        for path in sorted(static.rglob("*"))
        if path.is_file() and path.suffix in TYPES and not path.name.startswith(".")
    }
    assets["css/fonts.css"] = File(font_css.encode(), TYPES[".css"])
    assets |= joined(assets)
    hashes = {f"assets/{name}": _hash(file.body) for name, file in assets.items()}
    hashes |= {f"fonts/{name}": _hash(body) for name, body in fonts.items()}
    hashes |= {f"icons/{name}": _hash(body) for name, body in icons.items()}
    hashes |= {f"pages/{page.name}": _hash(page.read_bytes()) for page in pages}
    listing = json.dumps(hashes, sort_keys=True).encode()
    return Shell(
        version=_hash(listing)[:VERSION_DIGITS],
        assets=assets,
        fonts={name: File(body, TYPES[".woff2"]) for name, body in fonts.items()},
        icons={name: File(body, TYPES[".png"]) for name, body in icons.items()},
    )


def joined(assets: Mapping[str, File]) -> dict[str, File]:
    """The files that the tablet's page and the glass of the desk ask for, made of `assets`.
    Raises CannotJoin, KeyError for one not there.
    """
    modules = {path: file.body.decode() for path, file in assets.items() if path.endswith(".js")}
    texts = {
        "joined-desk/glass.js": joining.join_modules(modules, GLASS_ENTRY),
        f"{JOINED}tablet.js": joining.join_modules(modules, TABLET_ENTRY),
        f"{JOINED}tablet.css": joining.join_sheets(
            {path: assets[path].body.decode() for path in TABLET_SHEETS}
        ),
        f"{JOINED}tablet.json": joining.join_words(
            {path: assets[path].body.decode() for path in TABLET_WORDS}
        ),
    }
    return {name: File(text.encode(), TYPES[Path(name).suffix]) for name, text in texts.items()}


def font_name(family: str, body: bytes) -> str:
    """The file name of a web font: its family and the start of its hash, so it can be kept for ever."""
    return f"{family}-{_hash(body)[:VERSION_DIGITS]}.woff2"


def _hash(body: bytes) -> str:
    return hashlib.sha256(body).hexdigest()
