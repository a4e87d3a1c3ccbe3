"""The folder that holds a shop's data: there, closed to others, and one that can be written to."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from webapp.words import SaidByCode

if TYPE_CHECKING:
    from webapp.settings import Settings

# What is public of its keys lies beside them, for whoever verifies.
CERTIFICATES_FILE = "seal-certificates.pem"
HEAD_KEYS_FILE = "ledger-keys.txt"
# Whole copies of the database while something reads one; the number of the process follows.
COPY_PREFIX = "looked-at-"


class CannotStart(SaidByCode):
    """The server cannot start. It says why and what to do."""


def may_write(folder: Path) -> bool:
    """Whether this process may make files in the folder."""
    return os.access(folder, os.W_OK | os.X_OK)


def make_data_folder(settings: Settings, may_write: Callable[[Path], bool] = may_write) -> None:
    """Make the data folder if it is not there, for the server's own user only. Raises CannotStart."""
    folder = settings.data_folder
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise CannotStart("start.folder_not_made", folder=str(folder), why=error.strerror or "") from error
    if folder.stat().st_mode & 0o077:
        _close(folder)
    if not may_write(folder):
        raise CannotStart("start.folder_not_writable", folder=str(folder))


def _close(folder: Path) -> None:
    """Take from others the right to look into the data folder.
    Raises CannotStart where that may not be done.
    """
    try:
        folder.chmod(0o700)
    except OSError as error:
        raise CannotStart("start.folder_open", folder=str(folder)) from error


def clear_left_copies(folder: Path) -> None:
    """Take away the copies of the database that processes left which were killed: they are nobody's."""
    for left in folder.glob(f"{COPY_PREFIX}*.db*"):
        if not _is_alive(left.name.removeprefix(COPY_PREFIX).partition("-")[0]):
            left.unlink(missing_ok=True)


def _is_alive(process: str) -> bool:
    """Whether a process of this number runs."""
    try:
        os.kill(int(process), 0)
    except PermissionError:
        return True
    except (ValueError, OSError):
        return False
    return True
