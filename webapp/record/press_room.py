"""The other side of the press: the process that prints, one job after the other.

Rules of this module:
- Jobs come on the standard input, answers go to what was the standard output; nothing else may write there.
- Fonts, style sheet and templates are loaded first;
  then the process gives up everything that printing does not need, and only then it takes the first job.
- The end of the input is the end of the process, so it does not outlive the one that started it.
- An answer is "P" and the PDF, or "E" and a JSON text with a refusal's code and fields, or the name of the
  fault.
"""

from __future__ import annotations

import json
import os
import struct
import sys
import tempfile
from pathlib import Path
from typing import Any, BinaryIO

from webapp.record import confinement

LENGTH = struct.Struct(">I")
JOB_SECONDS = 30
LARGEST_FRAME_BYTES = 64 * 1024 * 1024
FONT_FOLDERS = ("/usr/share/fonts", "/usr/local/share/fonts", "/usr/share/fontconfig", "/etc/fonts")


def read_frame(stream: BinaryIO) -> bytes | None:
    """Return the next whole frame, None at the end of the stream. Raises EOFError for half a frame."""
    head = stream.read(LENGTH.size)
    if not head:
        return None
    (length,) = LENGTH.unpack(head)
    data = stream.read(length)
    if length > LARGEST_FRAME_BYTES or len(data) != length:
        raise EOFError
    return data


def write_frame(stream: BinaryIO, data: bytes) -> None:
    """Write one frame: its length in four bytes, then the bytes."""
    stream.write(LENGTH.pack(len(data)) + data)
    stream.flush()


def main() -> None:
    """Load, give up, then print until there are no more jobs."""
    confinement.limit_memory()
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    from webapp.record.page import typesetter  # noqa: PLC0415 - under the memory limit already

    typesetter().warm()
    granted = confinement.confine(Path(tempfile.gettempdir()), readable_folders())
    write_frame(answers, json.dumps(granted).encode())
    jobs = sys.stdin.buffer
    while (job := read_frame(jobs)) is not None:
        confinement.limit_time(JOB_SECONDS)
        write_frame(answers, _answer(job))


def readable_folders() -> list[Path]:
    """Return the folders that late imports and fonts are read from."""
    program = Path(__file__).resolve().parents[2]
    folders = [sys.prefix, sys.base_prefix, *sys.path, *FONT_FOLDERS]
    found = {Path(folder).resolve() for folder in folders if folder and Path(folder).is_dir()}
    own = {program / "webapp", program / "static", program / "templates"}
    return sorted((found | own) - {program, Path("/")})


def _answer(job: bytes) -> bytes:
    from webapp.domain.plain.errors import DomainError  # noqa: PLC0415 - loaded long before
    from webapp.domain.record.bundle import from_files  # noqa: PLC0415
    from webapp.record.page import typesetter  # noqa: PLC0415

    asked: dict[str, Any] = json.loads(job)
    try:
        if "trends" in asked:
            return b"P" + typesetter().trends(asked["trends"])
        bundle = from_files({name: text.encode("utf-8") for name, text in asked["files"].items()})
        return b"P" + typesetter().pdf(bundle, asked["final"])
    except DomainError as refused:
        return b"E" + json.dumps({"code": refused.code, "fields": refused.fields}).encode()
    except Exception as fault:  # noqa: BLE001 - whatever it was, the next job is another one
        return b"E" + json.dumps({"code": "press.failed", "fields": {"why": type(fault).__name__}}).encode()


if __name__ == "__main__":
    main()
