"""`zerokeep parts`: what the program is made of, as it is installed here, beside what was pinned.

Rules: the list comes from the pins that a set-up installs by (requirements.txt, each with its hashes) and
from the metadata of what is really there; a difference is said and ends with 1. With --json the list is a
CycloneDX 1.6 bill of materials (ECMA-424, from memory), which tools that know advisories read. Nothing is
asked over a network.
"""

from __future__ import annotations

import json
import platform
import re
import sqlite3
import sys
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path
from typing import Any

from cryptography.hazmat.backends.openssl.backend import backend

from webapp import VERSION

AS_PINNED, DIFFERS = 0, 1
PINS = Path(__file__).resolve().parent.parent / "requirements.txt"
PIN = re.compile(r"^([a-z0-9.-]+)==([^\s\\]+)", re.MULTILINE)
LONGEST_LICENCE = 60


@dataclass(frozen=True)
class Part:
    """One library: the version that was pinned, the one that is installed (None:
    not there), its licence in words.
    """

    name: str
    pinned: str
    installed: str | None
    licence: str

    @property
    def differs(self) -> bool:
        """Whether another version is installed than was pinned, or none."""
        return self.installed != self.pinned


def parts(*, as_json: bool, pins: Path = PINS) -> int:
    """Print the list; 1 if something differs from its pin."""
    found = [_part(name, version) for name, version in PIN.findall(pins.read_text(encoding="utf-8"))]
    if as_json:
        print(json.dumps(_bill(found), ensure_ascii=False, indent=1))
    else:
        for name, version in _below().items():
            print(f"{name:<26} {version}")
        for part in found:
            said = f"  pinned: {part.pinned}" if part.differs else ""
            print(f"{part.name:<26} {part.installed or 'missing':<14} {part.licence}{said}")
    differing = [part.name for part in found if part.differs]
    if differing:
        print(f"Not as pinned: {', '.join(differing)}. Set the program up anew.", file=sys.stderr)
    return DIFFERS if differing else AS_PINNED


def _part(name: str, pinned: str) -> Part:
    try:
        about = metadata(name)
    except PackageNotFoundError:
        return Part(name, pinned, None, "")
    said = [*(about.get_all("License-Expression") or []), *(about.get_all("License") or [])]
    short = [one for one in said if one and len(one) <= LONGEST_LICENCE and "\n" not in one]
    classified = [
        line.rpartition(" :: ")[2] for line in about.get_all("Classifier") or [] if line.startswith("License")
    ]
    return Part(name, pinned, str(about["Version"]), short[0] if short else ", ".join(classified))


def _below() -> dict[str, str]:
    """What is not a library of ours and still has advisories: the interpreter and what it was linked with."""
    return {
        "Python": platform.python_version(),
        "SQLite": sqlite3.sqlite_version,
        "OpenSSL": backend.openssl_version_text(),
    }


def _bill(found: list[Part]) -> dict[str, Any]:
    libraries = [
        {
            "type": "library",
            "name": part.name,
            "version": part.installed,
            "purl": f"pkg:pypi/{part.name}@{part.installed}",
            **({"licenses": [{"license": {"name": part.licence}}]} if part.licence else {}),
        }
        for part in found
        if part.installed is not None
    ]
    below = [{"type": "platform", "name": name, "version": version} for name, version in _below().items()]
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {"component": {"type": "application", "name": "zerokeep", "version": VERSION}},
        "components": [*below, *libraries],
    }
