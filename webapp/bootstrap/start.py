"""Join the steps: look, install, become the real program.
The only module that the two first commands call.
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from .debian import install, to_install
from .environment import Environment
from .needs import ENVIRONMENT, PROGRAM, TESTS, missing
from .saying import SetUpError, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .needs import Need

ROOT = Path(__file__).resolve().parents[2]
FOR_PROGRAM = Environment(ROOT, ROOT / "webapp" / "requirements.txt", needed_mb=600)
FOR_TESTS = Environment(
    ROOT,
    ROOT / "webapp" / "requirements-test.txt",
    needed_mb=1400,
    base=FOR_PROGRAM,
    scripts=ROOT / "tests" / "javascript",
)

# Browser tests wait more than they work: four at a time on two cores took 23 minutes, two at a time 31. Files
# stay whole, and come in the order of `tests/conftest.py`, not by how many tests they hold.
WHOLE_RUN = ("--numprocesses=4", "--dist=loadfile", "--no-loadscope-reorder")


def program(arguments: Sequence[str]) -> int:
    """Set up what the program needs and become it. Returns (with exit status 1) only if the set-up failed."""
    # An environment made for the tests holds all that the program needs, at the same versions.
    environment = FOR_TESTS if FOR_TESTS.is_ready() else FOR_PROGRAM
    if not _is_set_up(environment, PROGRAM):
        return 1
    return _become(environment, ["webapp.cli", *arguments])


def tests(arguments: Sequence[str]) -> int:
    """Set up what the tests need and become pytest, in the checkout.
    Returns (with 1) only if the set-up failed.

    All tests run on every processor, file by file; a part of them runs just as it is asked for. The one word
    `hook` makes a working copy ready to be worked on: all that the tests need, and the linters before each
    commit.
    """
    if not _is_set_up(FOR_TESTS, PROGRAM + TESTS):
        return 1
    if list(arguments) == ["hook"]:
        return _become(FOR_TESTS, ["webapp.cli", "check", "--hook"])
    os.chdir(ROOT)
    return _become(FOR_TESTS, ["pytest", *(arguments or WHOLE_RUN)])


def _is_set_up(environment: Environment, needs: Sequence[Need]) -> bool:
    """Return whether all is there, after bringing in what was not; say why if it could not be brought in."""
    begun = time.monotonic()
    try:
        if environment.is_ready() and not missing(needs):
            return True
        if not environment.is_ready():
            environment.check_room()
            needs = (*ENVIRONMENT, *needs)
        lacking = to_install(needs)
        say("Setting up Zerokeep. This happens once and takes a minute or two.")
        if lacking:
            install(lacking)
        environment.make()
    except SetUpError as error:
        say(f"Zerokeep is not set up yet.\n\n{error}")
        return False
    except KeyboardInterrupt:
        say("\nStopped. Nothing half done will be used: start again to set up.")
        return False
    say(f"Set up in {time.monotonic() - begun:.0f} seconds. The next start goes straight to the program.\n")
    return True


def _become(environment: Environment, module: Sequence[str]) -> NoReturn:
    # -P keeps the folder that the person stands in off Python's path.
    os.execv(environment.python, [str(environment.python), "-P", "-m", *module])  # noqa: S606  no shell is wanted
