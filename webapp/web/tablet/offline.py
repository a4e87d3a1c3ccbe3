"""What lets a tablet work without the network: the worker, the manifest, and files that never change.

Rules: the worker is served from the root, so that it may answer for every page (Service Workers,
"Service-Worker- Allowed"), and never from a cache; its text carries the version and the list of files, so
that a new version is a new worker. Everything under a version or a hash is kept for a year.
"""

import json

from flask import Blueprint, Response, abort

from webapp.colours import LIGHT
from webapp.web.edge.wiring import wiring
from webapp.web.files.icons import SIZES
from webapp.web.files.shell import WORKER_FILES, File

blueprint = Blueprint("offline", __name__)

FOR_A_YEAR = "public, max-age=31536000, immutable"
ASK_EVERY_TIME = "no-cache"


@blueprint.get("/sw.js")
def worker() -> Response:
    """The service worker with its version and list of files written in front of it."""
    shell = wiring().shell
    lines = [
        f"const VERSION = {json.dumps(shell.version)};",
        f"const FILES = {json.dumps(shell.kept_on_tablets())};",
    ]
    parts = [shell.assets[name].body.decode() for name in reversed(WORKER_FILES)]
    return _answer(
        File("\n".join([*lines, *parts]).encode(), "text/javascript; charset=utf-8"), ASK_EVERY_TIME
    )


@blueprint.get("/manifest.webmanifest")
def manifest() -> Response:
    """The web app manifest: how the tablet shows the application on its home screen."""
    icons = [
        {
            "src": f"/icons/{name}",
            "sizes": f"{pixels}x{pixels}",
            "type": "image/png",
            "purpose": "maskable" if maskable else "any",
        }
        for name, (pixels, maskable) in SIZES.items()
    ]
    text = json.dumps(
        {
            "id": "/tablet",
            "name": "Zerokeep",
            "short_name": "Zerokeep",
            "description": "Finding the vise of a shared mill with a spindle probe, step by step.",
            "lang": "en",
            "dir": "ltr",
            "start_url": "/tablet",
            "scope": "/",
            "display": "standalone",
            "orientation": "any",
            "background_color": LIGHT["paper"],
            "theme_color": LIGHT["paper"],
            "icons": icons,
        }
    )
    return _answer(File(text.encode(), "application/manifest+json; charset=utf-8"), ASK_EVERY_TIME)


@blueprint.get("/assets/<version>/<path:path>")
def asset(version: str, path: str) -> Response:
    """One file of the version in use. Another version's files are not here any more."""
    shell = wiring().shell
    if version != shell.version or path not in shell.assets:
        abort(404)
    return _answer(shell.assets[path], FOR_A_YEAR)


@blueprint.get("/fonts/<name>")
def font(name: str) -> Response:
    """One web font; its name carries its hash."""
    fonts = wiring().shell.fonts
    if name not in fonts:
        abort(404)
    return _answer(fonts[name], FOR_A_YEAR)


@blueprint.get("/icons/<name>")
def icon(name: str) -> Response:
    """One icon of the application."""
    icons = wiring().shell.icons
    if name not in icons:
        abort(404)
    return _answer(icons[name], "public, max-age=86400")


@blueprint.get("/favicon.ico")
def favicon() -> Response:
    """The small icon, for browsers that ask for it by this name."""
    return icon("icon-32.png")


def _answer(file: File, cache: str) -> Response:
    answer = Response(file.body, content_type=file.content_type)
    answer.headers["Cache-Control"] = cache
    if cache == ASK_EVERY_TIME:
        answer.headers["Service-Worker-Allowed"] = "/"
    return answer
