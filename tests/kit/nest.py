"""Servers without their start-up: one process has read the whole program in, and each server is a copy of it.

Reading the program in takes two seconds of a processor, and a run starts hundreds of servers. A copy
(fork(2)) runs the same command line, on its own data folder, in a process group of its own; whoever asked for
it watches it by its descriptor (pidfd_open(2)) and ends it by signals, as any other process.
"""

from __future__ import annotations

import atexit
import gc
import json
import os
import select
import subprocess
import sys
import traceback
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parents[2]


class Copy:
    """A program that the nest started: what a test needs of `subprocess.Popen`."""

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self._descriptor: int | None = os.pidfd_open(pid)

    def has_ended(self) -> bool:
        """Whether it is over."""
        return self.wait(0)

    def wait(self, seconds: float) -> bool:
        """Wait until it is over, so long at most; whether it is."""
        if self._descriptor is None:
            return True
        over = bool(select.select([self._descriptor], [], [], seconds)[0])
        if over:
            os.close(self._descriptor)
            self._descriptor = None
        return over


class Nest:
    """The process that has read the program in. It ends when this one does."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.kit.nest"],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, arguments: Sequence[str], log: Path) -> Copy:
        """Run `zerokeep` with these arguments; what it says is added to the log."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        print(json.dumps([list(arguments), str(log)]), file=self._process.stdin, flush=True)
        return Copy(int(self._process.stdout.readline()))

    def close(self) -> None:
        """Let the process end. Copies that still run stay."""
        self._process.communicate()


@cache
def nest() -> Nest:
    """The one of this process, made when it is first needed."""
    made = Nest()
    atexit.register(made.close)
    return made


def _run(arguments: list[str], log: str) -> NoReturn:
    """In the copy: the program's own command line, from a process group of its own."""
    from webapp.cli import main  # noqa: PLC0415 - read in already; whoever only talks to the nest needs none of it

    status = 1
    try:
        os.setsid()
        into = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
        nothing = os.open(os.devnull, os.O_RDONLY)
        for source, target in ((nothing, 0), (into, 1), (into, 2)):
            os.dup2(source, target)
        sys.argv = ["zerokeep", *arguments]
        status = main(arguments)
    except BaseException:  # noqa: BLE001 - the copy must never go back into the nest's own loop
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)


def _keep() -> None:
    """Copy on demand: a line of JSON with arguments and log in, a process identifier out."""
    for line in iter(sys.stdin.readline, ""):
        arguments, log = json.loads(line)
        _bury()
        pid = os.fork()
        if pid == 0:
            _run(arguments, log)
        print(pid, flush=True)


def _bury() -> None:
    """Let go of copies that have ended.
    Before the next is made: whoever asked for those watches them by now.
    """
    try:
        while os.waitpid(-1, os.WNOHANG)[0]:
            pass
    except ChildProcessError:
        return


def _read_in() -> None:
    """All that a server loads until its first requests are answered, the drawing library too."""
    from webapp.charts.paper import warm_up  # noqa: PLC0415 - only the nest itself reads it in
    from webapp.commands import demo  # noqa: F401, PLC0415 - the same

    warm_up()
    gc.freeze()


if __name__ == "__main__":
    _read_in()
    _keep()
