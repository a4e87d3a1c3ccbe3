"""Pictures that tablets send, made again in a process of their own that can reach nothing.

Rules of this module:
- One process for each picture, gone with it: what a broken or a hostile file does to a decoder, it does
  there.
- A file at which the process died, or took too long, is a broken picture. A process that never came to the
  file is a fault of this server, and says nothing about the picture.
"""

from __future__ import annotations

import struct
import subprocess
import sys
import tempfile
import threading

from webapp.domain.plain.errors import Finding
from webapp.domain.procedure.pictures import Shrunk
from webapp.record.errors import PictureRoomError
from webapp.record.picture_room import PICTURE, READY, REFUSED
from webapp.record.press import own_environment

LONGEST_SECONDS = 60
BROKEN = Finding("picture.broken")
_ONE_AT_A_TIME = threading.Lock()


def made_again(data: bytes, width: int, height: int) -> bytes | Finding:
    """Return the picture as a JPEG file of pixels alone, or why it is none that can be kept.

    `width` and `height` are what its event says. Raises PictureRoomError where no process could look at it.
    """
    return _made(data, [str(width), str(height)])


def shrunk(data: bytes) -> Shrunk | Finding:
    """Return a camera's picture small, as pixels alone, or why it is none. Raises PictureRoomError."""
    made = _made(data, [])
    if isinstance(made, Finding):
        return made
    width, height = struct.unpack(">HH", made[:4])
    return Shrunk(made[4:], width, height)


def _made(data: bytes, arguments: list[str]) -> bytes | Finding:
    with _ONE_AT_A_TIME, tempfile.TemporaryDirectory(prefix="zerokeep-picture-") as folder:
        answer = _asked(data, arguments, folder)
    if not answer.startswith(READY):
        raise PictureRoomError
    answer = answer[len(READY) :]
    if answer.startswith(PICTURE):
        return answer[len(PICTURE) :]
    if answer.startswith(REFUSED):
        return Finding(answer[len(REFUSED) :].decode())
    return BROKEN


def _asked(data: bytes, arguments: list[str], folder: str) -> bytes:
    """Return all that the process said, however it ended."""
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "webapp.record.picture_room", *arguments],
            input=data,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            cwd=folder,
            env=own_environment(folder),
            timeout=LONGEST_SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired as late:
        return late.stdout or b""
    except OSError:
        return b""
    return done.stdout
