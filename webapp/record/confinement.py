"""What a process gives up before it touches what people typed.

Rules of this module:
- Memory, processor time, open files and file size have limits that the kernel keeps (setrlimit(2)).
- No socket, no other program, no file outside the program's own folders: refused by an audit hook, which
  cannot be taken off again (PEP 578). A hook sees what Python does, not what a library does in machine code;
  the next lines are for that, as far as the system lets an ordinary process go.
- No new privileges (prctl(2) PR_SET_NO_NEW_PRIVS);
  a network namespace of its own without any interface (unshare(2)); started by root, it becomes nobody.
- What the system does not grant is left out and named in the answer; the rest still holds.
"""

from __future__ import annotations

import ctypes
import os
import resource
import stat
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

MEMORY_BYTES = 1024**3
OPEN_FILES = 64
NOBODY = 65534
PR_SET_NO_NEW_PRIVS = 38
CLONE_NEWUSER = 0x10000000
CLONE_NEWNET = 0x40000000

REFUSED_EVENTS = (
    "socket.", "subprocess.", "os.exec", "os.fork", "os.posix_spawn", "os.spawn", "os.system", "pty.spawn",
    "shutil.", "os.remove", "os.rename", "os.rmdir", "os.mkdir", "os.link", "os.symlink", "os.truncate",
    "os.chmod", "os.chown", "ctypes.dlopen", "urllib.Request", "http.client.", "ftplib.", "smtplib.",
    "webbrowser.",
)  # fmt: skip


class ConfinedError(PermissionError):
    """The process tried something that it gave up."""


def limit_memory() -> None:
    """Limit the address space to 1 GiB and leave no core file. Before anything large is loaded."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def limit_time(seconds: int) -> None:
    """End the process by SIGXCPU when it has used so many more seconds of processor time from now."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    soft = int(used.ru_utime + used.ru_stime) + seconds
    resource.setrlimit(resource.RLIMIT_CPU, (soft, resource.RLIM_INFINITY))


def confine(own_folder: Path, readable: Sequence[Path]) -> list[str]:
    """Give up everything else; return what the system granted of the last rule, by name.

    `own_folder` holds the process' own temporary files; `readable` are the folders that it may still read.
    """
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_NOFILE, (OPEN_FILES, OPEN_FILES))
    libc = ctypes.CDLL(None, use_errno=True)
    granted = [
        *_granted("no_network", lambda: _leave_network(libc)),
        *_granted("nobody", lambda: _become_nobody(own_folder, readable)),
        *_granted("no_new_privileges", lambda: _prctl(libc, PR_SET_NO_NEW_PRIVS, 1)),
    ]
    sys.addaudithook(_hook([own_folder, *readable]))
    return granted


def _granted(name: str, step: Callable[[], bool]) -> list[str]:
    try:
        return [name] if step() else []
    except OSError:
        return []


def _prctl(libc: ctypes.CDLL, option: int, value: int) -> bool:
    return bool(libc.prctl(option, value, 0, 0, 0) == 0)


def _leave_network(libc: ctypes.CDLL) -> bool:
    """Enter a network namespace of its own, which has no interface up;
    without root, inside a user namespace.
    """
    flags = CLONE_NEWNET if os.geteuid() == 0 else CLONE_NEWNET | CLONE_NEWUSER
    return bool(libc.unshare(flags) == 0)


def _become_nobody(own_folder: Path, readable: Sequence[Path]) -> bool:
    """Change from root to nobody, if nobody can read the program."""
    if os.geteuid() != 0 or not all(map(_is_open_to_all, readable)):
        return False
    for path in [own_folder, *own_folder.rglob("*")]:
        os.chown(path, NOBODY, NOBODY)
    os.setgroups([])
    os.setgid(NOBODY)
    os.setuid(NOBODY)
    return True


def _is_open_to_all(folder: Path) -> bool:
    """Tell whether every user can come to this folder and list it."""
    way = all(parent.stat().st_mode & stat.S_IXOTH for parent in folder.parents)
    return way and folder.stat().st_mode & stat.S_IXOTH != 0


def _hook(readable: Sequence[Path]) -> Callable[[str, tuple[Any, ...]], None]:
    roots = tuple(f"{path}{os.sep}" for path in readable)
    writing = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        if event.startswith(REFUSED_EVENTS):
            raise ConfinedError(f"refused here: {event}")
        if event == "open" and not isinstance(arguments[0], int):
            path, _, flags = arguments
            real = os.path.realpath(os.fsdecode(path))
            if flags & writing or not real.startswith(roots):
                raise ConfinedError(f"refused here: {event}")

    return hook
