"""A real server process: the program's own command line, in a process group of its own, really killable."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Protocol

from tests.kit.nest import ROOT, nest

LONGEST_START_S = 90


class Running(Protocol):
    """A program that was started, from its own files or as a copy."""

    pid: int

    def has_ended(self) -> bool:
        """Whether it is over."""

    def wait(self, seconds: float) -> bool:
        """Wait until it is over, so long at most; whether it is."""


class Started:
    """A program started from its files."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._process, self.pid = process, process.pid

    def has_ended(self) -> bool:
        return self._process.poll() is not None

    def wait(self, seconds: float) -> bool:
        try:
            self._process.wait(seconds)
        except subprocess.TimeoutExpired:
            return False
        return True


def free_port() -> int:
    """A port that nothing listens at, just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Server:
    """`zerokeep demo` on a data folder. Starting again uses the same port, as a shop's server does.

    The program is a copy of one that was read in before,
    or, `from_files`, read in anew from the checkout `root`.
    """

    def __init__(
        self, folder: Path, port: int | None = None, *, from_files: bool = False, root: Path = ROOT
    ) -> None:
        self.folder, self.port, self.root = folder, port or free_port(), root
        self.from_files = from_files or root != ROOT
        self.address = f"http://localhost:{self.port}"
        self.log = folder / "server.log"
        self._process: Running | None = None

    def start(self) -> None:
        """Start and wait until it answers. Raises RuntimeError with the log when it does not."""
        arguments = self.arguments()
        self._process = self._read_in(arguments) if self.from_files else nest().run(arguments, self.log)
        until = time.monotonic() + LONGEST_START_S
        while not self.answers():
            if self._process.has_ended() or time.monotonic() > until:
                raise RuntimeError(f"the server did not start:\n{self.log.read_text(errors='replace')}")
            time.sleep(0.05)

    def arguments(self) -> list[str]:
        """What the program is called with."""
        return ["demo", "--data-folder", str(self.folder), "--port", str(self.port)]

    def _read_in(self, arguments: list[str]) -> Running:
        with self.log.open("ab") as log:
            return Started(
                subprocess.Popen(
                    [sys.executable, "-m", "webapp.cli", *arguments],
                    cwd=self.root,
                    stdout=log,
                    stderr=log,
                    start_new_session=True,
                )
            )

    def answers(self) -> bool:
        """Whether a request is answered now."""
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/sw.js", timeout=5):
                return True
        except (urllib.error.URLError, OSError):
            return False

    def kill(self) -> None:
        """SIGKILL to every process of the group: nothing is finished, nothing is written any more."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        """SIGTERM, as a system does at shutdown; nothing happens when it is not running."""
        self._end(signal.SIGTERM)

    def _end(self, how: signal.Signals) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        os.killpg(process.pid, how)
        if not process.wait(30):
            os.killpg(process.pid, signal.SIGKILL)
            process.wait(30)
        until = time.monotonic() + 10
        while self.answers() and time.monotonic() < until:  # the worker ends a moment after its parent
            time.sleep(0.05)
