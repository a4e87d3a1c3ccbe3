"""What the program needs from the operating system, and how to see whether it is there.

A library is there if it loads by the very name that the PDF maker asks for; a program if it is on the path; a
font if its file lies in a folder that fontconfig reads. No package manager is asked: what works counts,
however it came.
"""

from __future__ import annotations

import ctypes
import importlib
import importlib.util
import os
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

FONT_FOLDERS = (Path("/usr/share/fonts"), Path("/usr/local/share/fonts"), Path.home() / ".local/share/fonts")


@dataclass(frozen=True)
class Need:
    """One thing to look for: `kind` is library, program, font or module;
    `package` is the Debian package with it.
    """

    kind: str
    name: str
    package: str

    def is_met(self) -> bool:
        """Return whether the thing is there now. Changes nothing."""
        return _LOOKS[self.kind](self.name)


# What it takes to make a virtual environment; Debian keeps it apart from Python.
ENVIRONMENT = (Need("module", "ensurepip", f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"),)

# What draws the record's text, and the letters of names that the program's own font lacks (Arabic, Chinese
# ...).
PROGRAM = (
    Need("library", "libgobject-2.0.so.0", "libglib2.0-0"),
    Need("library", "libpango-1.0.so.0", "libpango-1.0-0"),
    Need("library", "libpangoft2-1.0.so.0", "libpangoft2-1.0-0"),
    Need("library", "libharfbuzz.so.0", "libharfbuzz0b"),
    Need("library", "libharfbuzz-subset.so.0", "libharfbuzz-subset0"),
    Need("library", "libfontconfig.so.1", "libfontconfig1"),
    Need("font", "DejaVuSans.ttf", "fonts-dejavu-core"),
    Need("font", "DroidSansFallbackFull.ttf", "fonts-droid-fallback"),
)

# What the tests drive or ask for a second opinion: a browser, whole and as its engine alone, one of another
# engine, readers of PDF, of signatures and of backups, two certificate tools, git for the hook of a working
# copy; and what the browser's driver is linked against.
TESTS = (
    Need("library", "libatomic.so.1", "libatomic1"),
    Need("library", "libstdc++.so.6", "libstdc++6"),
    Need("program", "chromium", "chromium"),
    Need("program", "chromium-headless-shell", "chromium-headless-shell"),
    Need("program", "firefox-esr", "firefox-esr"),
    Need("program", "pdfsig", "poppler-utils"),
    Need("program", "pdftoppm", "poppler-utils"),
    Need("program", "pdftotext", "poppler-utils"),
    Need("program", "pdffonts", "poppler-utils"),
    Need("program", "qpdf", "qpdf"),
    Need("program", "certutil", "libnss3-tools"),
    Need("program", "age", "age"),
    Need("program", "openssl", "openssl"),
    Need("program", "git", "git"),
)


def missing(needs: Sequence[Need]) -> list[Need]:
    """Return the needs that are not met, in the order given."""
    return [need for need in needs if not need.is_met()]


def packages(needs: Sequence[Need]) -> list[str]:
    """Return the Debian packages that bring the needs, each once, in the order given."""
    return list(dict.fromkeys(need.package for need in needs))


def _library_loads(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def _program_is_on_path(name: str) -> bool:
    return shutil.which(name) is not None


def _font_lies_in_a_folder(name: str) -> bool:
    return any(name in files for folder in FONT_FOLDERS for _, _, files in os.walk(folder))


def _module_is_importable(name: str) -> bool:
    importlib.invalidate_caches()
    return importlib.util.find_spec(name) is not None


_LOOKS = {
    "font": _font_lies_in_a_folder,
    "library": _library_loads,
    "module": _module_is_importable,
    "program": _program_is_on_path,
}
