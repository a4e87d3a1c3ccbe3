"""A real server process: started by the program's own command line, in a process group of its own, really killable."""

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

ROOT = Path(__file__).resolve().parents[2]
LONGEST_START_S = 90


def free_port() -> int:
    """A port that nothing listens at, just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Server:
    """`zerokeep demo` on a data folder. Starting again uses the same port, as a shop's server does.

    `root` is the checkout to run, this one unless another is given.
    """

    def __init__(self, folder: Path, port: int | None = None, root: Path = ROOT) -> None:
        self.folder, self.port, self.root = folder, port or free_port(), root
        self.address = f"http://localhost:{self.port}"
        self.log = folder / "server.log"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start and wait until it answers. Raises RuntimeError with the log when it does not."""
        command = (sys.executable, "-m", "webapp.cli", "demo")
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [*command, "--data-folder", str(self.folder), "--port", str(self.port)],
                cwd=self.root,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        until = time.monotonic() + LONGEST_START_S
        while not self.answers():
            if self._process.poll() is not None or time.monotonic() > until:
                raise RuntimeError(f"the server did not start:\n{self.log.read_text(errors='replace')}")
            time.sleep(0.1)

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
        try:
            process.wait(30)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        until = time.monotonic() + 10
        while self.answers() and time.monotonic() < until:  # the worker ends a moment after its parent
            time.sleep(0.05)
