"""The press: prints records, and a fixture's trends, in a process of its own that can fetch nothing.

Rules of this module:
- One job at a time, in a warm process that is started with the first job, and again after it had to be ended.
- A job that takes longer than 30 seconds ends with its process (kill(2)); the next job gets a new one.
- The process gets no environment but what it needs, no open file but its pipes, and a temporary folder of its
  own. A server that was killed leaves that folder; the next start takes those of ended servers away.
- What it refuses comes back as the same named refusal; what goes wrong there has a name here.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import threading
from collections.abc import Collection, Mapping
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self, cast

from webapp.domain.plain.errors import DomainError, error_classes
from webapp.record.confinement import NOBODY
from webapp.record.errors import (
    PressDidNotStartError,
    PressDiedError,
    PressFailedError,
    PressTookTooLongError,
)
from webapp.record.press_room import JOB_SECONDS, read_frame, write_frame

if TYPE_CHECKING:
    from webapp.domain.record.bundle import RecordBundle

PROGRAM = Path(__file__).resolve().parents[2]
START_SECONDS = 60
# The process ends itself by processor time;
# a process that waits for something is ended a little later from here.
GRACE_SECONDS = 5
FOLDER_PREFIX = "zerokeep-press-"
LEFT_FOLDER = re.compile(r"zerokeep-press-([1-9][0-9]{0,9})-[a-z0-9_]+")
LEFT_SECONDS = 3600


class Press:
    """A process that prints. Use it as a context manager, or close it. Threads take turns."""

    def __init__(self, job_seconds: float = JOB_SECONDS + GRACE_SECONDS) -> None:
        """Start nothing yet. A job may take `job_seconds` by the clock on the wall."""
        self._job_seconds = job_seconds
        self._turn = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self.granted: tuple[str, ...] = ()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def render(self, bundle: RecordBundle, final: bool) -> bytes:
        """Return the PDF of the bundle, final or marked NOT SIGNED OFF.

        Raises a `PressError` when the process fails or takes too long, and what reading the bundle raises.
        """
        files = {name: data.decode("utf-8") for name, data in bundle.files().items()}
        return self._printed({"final": final, "files": files})

    def trends(self, paper: Mapping[str, Any]) -> bytes:
        """Return the PDF of a fixture's trends (see `page.Typesetter.trends`). Raises as render does."""
        return self._printed({"trends": dict(paper)})

    def begin(self) -> None:
        """Have the process get ready meanwhile, for somebody who will need it and has something else to do.

        Raises nothing: a process that did not start is started again by the first job, which says why.
        """
        threading.Thread(target=self._begin, daemon=True).start()

    def _begin(self) -> None:
        with self._turn, contextlib.suppress(DomainError, OSError):
            self._running()

    def _printed(self, asked: Mapping[str, Any]) -> bytes:
        job = json.dumps(asked).encode()
        with self._turn:
            answer = self._ask(self._running(), job)
        if answer[:1] == b"P":
            return answer[1:]
        raise _refusal(json.loads(answer[1:]))

    def close(self) -> None:
        """End the process, which has no job then. A later job starts another."""
        with self._turn:
            self._end()

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is not None and self._process.poll() is None:
            return self._process
        self._end()
        self._folder = tempfile.TemporaryDirectory(
            prefix=f"{FOLDER_PREFIX}{os.getpid()}-", ignore_cleanup_errors=True
        )
        clear_left_folders(Path(self._folder.name), own_accounts())
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", "webapp.record.press_room"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            cwd=self._folder.name,
            env=own_environment(self._folder.name),
        )
        self._process = process
        try:
            self.granted = tuple(json.loads(self._exchange(process, None, START_SECONDS)))
        except PressDiedError as died:
            raise PressDidNotStartError(how=died.fields["how"]) from None
        return process

    def _ask(self, process: subprocess.Popen[bytes], job: bytes) -> bytes:
        return self._exchange(process, job, self._job_seconds)

    def _exchange(self, process: subprocess.Popen[bytes], job: bytes | None, seconds: float) -> bytes:
        """Send a job, if any, and return the answer. A process that does not answer in time is killed."""
        assert process.stdin is not None and process.stdout is not None  # noqa: S101, PT018 - both are pipes
        timer = threading.Timer(seconds, process.kill)
        timer.start()
        try:
            if job is not None:
                write_frame(cast("Any", process.stdin), job)
            answer = read_frame(cast("Any", process.stdout))
        except (OSError, EOFError):
            answer = None
        finally:
            in_time = not timer.finished.is_set()
            timer.cancel()
        if answer is None:
            raise self._ended(process, seconds, in_time)
        return answer

    def _ended(self, process: subprocess.Popen[bytes], seconds: float, in_time: bool) -> DomainError:
        """Clear away a process that gave no answer and return what to say about it."""
        process.kill()
        status = process.wait()
        self._end()
        if not in_time or status == -signal.SIGXCPU:
            return PressTookTooLongError(seconds=round(seconds))
        return PressDiedError(how=signal.Signals(-status).name if status < 0 else f"exit status {status}")

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                with contextlib.suppress(OSError):
                    cast("Any", pipe).close()
        folder, self._folder = self._folder, None
        if folder is not None:
            folder.cleanup()


def own_accounts() -> set[int]:
    """Whose folders are ours: this account's, and nobody's, which a press started by root becomes."""
    return {os.geteuid(), NOBODY} if os.geteuid() == 0 else {os.geteuid()}


def clear_left_folders(own: Path, ours: Collection[int]) -> list[str]:
    """Take away the folders that ended servers left beside this new one; their names.

    Only real folders of our accounts, whose name names a process that is gone,
    and which have not been touched for an hour.
    """
    newest = own.stat().st_mtime - LEFT_SECONDS
    gone = []
    for folder in own.parent.glob(f"{FOLDER_PREFIX}*"):
        named = LEFT_FOLDER.fullmatch(folder.name)
        if named is None or _is_alive(int(named[1])):
            continue
        with contextlib.suppress(OSError):
            found = folder.lstat()
            if stat.S_ISDIR(found.st_mode) and found.st_uid in ours and found.st_mtime < newest:
                shutil.rmtree(folder)
                gone.append(folder.name)
    return sorted(gone)


def _is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def own_environment(folder: str) -> dict[str, str]:
    """Return all that the process learns of its surroundings."""
    return {
        "PATH": os.defpath,
        "PYTHONPATH": str(PROGRAM),
        "PYTHONDONTWRITEBYTECODE": "1",
        "LANG": "C.UTF-8",
        "HOME": folder,
        "TMPDIR": folder,
        "XDG_CACHE_HOME": folder,
    }


def _refusal(said: dict[str, Any]) -> DomainError:
    """Return the refusal that the process named, as the class that it is here."""
    # What draws a page knows every refusal that a page can meet; nobody waits for it at an import of this.
    import webapp.domain.record.facts  # noqa: F401, PLC0415

    for error in error_classes(DomainError):
        if error.code == said["code"]:
            return error(**said["fields"])
    return PressFailedError(why=str(said["code"]))
