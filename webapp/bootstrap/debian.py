"""Bring in what is missing with Debian's own package tool,
or name the one line that an administrator has to run.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from typing import TYPE_CHECKING

from .needs import missing, packages
from .saying import SetUpError, disk_full, last_words, no_network, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .needs import Need

_UNREACHABLE = ("Temporary failure resolving", "Could not resolve", "Could not connect",
                "Network is unreachable", "Unable to connect", "Connection timed out",
                "Connection failed")  # fmt: skip


def to_install(needs: Sequence[Need]) -> list[Need]:
    """Return the needs that are not met and may be installed from here; none if all are met. Changes nothing.

    Raises SetUpError if something is missing and there is no apt-get, or no right to use it.
    """
    lacking = missing(needs)
    if lacking and shutil.which("apt-get") is None:
        things = ", ".join(f"{need.name} ({need.kind})" for need in lacking)
        raise SetUpError(
            f"This system lacks: {things}.\nInstall them with its own package tool and start again."
        )
    if lacking and os.geteuid() != 0:
        raise SetUpError(
            "Some Debian packages are missing, and only an administrator may install them. Nothing was "
            "changed.\n"
            "Ask for this one line to be run as root, then start again:\n\n    "
            f"{line_for_root(packages(lacking))}\n"
        )
    return lacking


def install(lacking: Sequence[Need]) -> None:
    """Install what `to_install` returned. Raises SetUpError with the reason if that fails."""
    names = packages(lacking)
    say(f"  Debian packages: {', '.join(names)}")
    _apt(["update"])
    _apt(["install", "--yes", "--no-install-recommends", *names])
    still = missing(lacking)
    if still:
        things = ", ".join(f"{need.name} (from {need.package})" for need in still)
        raise SetUpError(f"apt-get has finished, but these are still missing: {things}.")


def line_for_root(names: Sequence[str]) -> str:
    """Return the one shell line that installs the packages."""
    return f"apt-get update && apt-get install --yes --no-install-recommends {' '.join(names)}"


def _apt(arguments: Sequence[str]) -> None:
    """Run apt-get without questions and without output; raise SetUpError with its last words if it fails."""
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive", "LC_ALL": "C.UTF-8"}
    done = subprocess.run(
        ["apt-get", "-q", "-o", "DPkg::Lock::Timeout=300", *arguments],
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        check=False,
    )
    if any(word in done.stdout for word in _UNREACHABLE) and (done.returncode or arguments[0] == "update"):
        raise no_network("Debian's package server")
    if "No space left on device" in done.stdout or "You don't have enough free space" in done.stdout:
        raise disk_full("/var and /usr")
    if done.returncode:
        raise SetUpError(
            f"apt-get {arguments[0]} did not succeed. Its last words:\n{last_words(done.stdout, 8)}"
        )
