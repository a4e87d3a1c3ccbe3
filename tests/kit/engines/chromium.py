"""Debian's Chromium with its windows and a profile that outlives it, driven by Playwright."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

from playwright.sync_api import Playwright

from tests.kit import tls
from tests.kit.chromium import CHROMIUM, Profile

PACKAGES = ("chromium", "libnss3-tools")


class Chromium(Profile):
    """One tablet's browser. `authority`: what it trusts besides what it comes with; None for nothing more."""

    name = "Chromium"

    def __init__(self, playwright: Playwright, folder: Path, authority: Path | None, *hosts: str) -> None:
        mapped = ",".join(f"MAP {host} 127.0.0.1" for host in hosts)
        home = folder / "home"
        home.mkdir(parents=True)
        super().__init__(
            playwright, folder / "profile", flags=(f"--host-resolver-rules={mapped}",), home=home
        )
        if authority is not None:
            tls.trust(home, authority)

    @property
    def version(self) -> str:
        said = subprocess.run([CHROMIUM, "--version"], capture_output=True, text=True, check=True)
        return said.stdout.split()[1]


def lacking() -> tuple[str, ...]:
    """Debian packages that it takes and that are not there."""
    return () if shutil.which(CHROMIUM) and shutil.which("certutil") else PACKAGES
