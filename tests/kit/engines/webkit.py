"""Debian's WebKitGTK in a window of its own, with a folder for what it keeps that outlives it.

Which authorities it trusts and which names it finds are the system's: it is started in a mount namespace of
its own in which those two files are others (unshare(1), mount(8)), so that the system stays as it is.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.kit.chromium import PORTRAIT
from tests.kit.engines import processes
from tests.kit.engines.page import EnginePage, PageError

PYTHON = "/usr/bin/python3"
CHILD = Path(__file__).with_name("webkit_child.py")
PACKAGES = ("gir1.2-webkit2-4.1", "python3-gi", "xvfb")
BINDINGS = "import gi; gi.require_version('WebKit2', '4.1'); from gi.repository import WebKit2"
SAY_VERSION = "print(WebKit2.MAJOR_VERSION, WebKit2.MINOR_VERSION, WebKit2.MICRO_VERSION, sep='.')"
COUNTED = """kind => {
  const counts = (globalThis.arrived ??= {});
  if (!(kind in counts)) addEventListener(kind, () => { counts[kind] += 1; }, {capture: true});
  return (counts[kind] ??= 0);
}"""
ARRIVED = "([kind, count]) => (globalThis.arrived?.[kind] ?? count) >= count"
TRUSTED, HOSTS = "/etc/ssl/certs/ca-certificates.crt", "/etc/hosts"
WITH_OTHERS = f'mount --bind "$1" {HOSTS} && mount --bind "$2" {TRUSTED} && shift 2 && exec "$@"'
# A container gives no sandbox, and nothing here has a graphics card.
SURROUNDINGS = {
    "WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS": "1",
    "GDK_BACKEND": "x11",
    "LIBGL_ALWAYS_SOFTWARE": "1",
    "NO_AT_BRIDGE": "1",
}


class WebKit:
    """One tablet's browser. `authority`: the only one that it trusts; None for none at all."""

    name = "WebKitGTK"

    def __init__(self, folder: Path, authority: Path | None, *hosts: str) -> None:
        self.folder, self.size = folder, PORTRAIT
        self._screen: subprocess.Popen[bytes] | None = None
        self._process: subprocess.Popen[bytes] | None = None
        for part in ("home", "run"):
            (folder / part).mkdir(parents=True)
            (folder / part).chmod(0o700)
        names = " ".join(["127.0.0.1 localhost", *(f"\n127.0.0.1 {host}" for host in hosts)])
        (folder / "hosts").write_text(f"{names}\n", encoding="ascii")
        (folder / "trusted.pem").write_bytes(b"" if authority is None else authority.read_bytes())

    @property
    def version(self) -> str:
        said = subprocess.run(
            [PYTHON, "-c", f"{BINDINGS}; {SAY_VERSION}"], capture_output=True, text=True, check=True
        )
        return said.stdout.strip()

    def open_page(self) -> EnginePage:
        """Start it on what the folder holds; its one page."""
        if self._screen is None:
            self._screen, self._display = _screen(self.size)
        others = (self.folder / "hosts", self.folder / "trusted.pem")
        child = (PYTHON, CHILD, self.folder, *map(str, self.size))
        with (self.folder / "said.log").open("ab") as log:
            self._process = subprocess.Popen(
                [*_namespace(), "sh", "-c", WITH_OTHERS, "sh", *others, *child],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                env={**os.environ, **SURROUNDINGS, **self._own()},
                start_new_session=True,
            )
        return WebKitPage(self._process)

    def _own(self) -> dict[str, str]:
        """What is its own of the surroundings."""
        home, run = (str(self.folder / part) for part in ("home", "run"))
        return {"DISPLAY": f":{self._display}", "HOME": home, "XDG_RUNTIME_DIR": run}

    def kill(self) -> None:
        """SIGKILL to all its processes."""
        if self._process is not None:
            processes.end(self._process, signal.SIGKILL)

    def close(self) -> None:
        """Let go of it and of its screen; it may be dead already."""
        self.kill()
        screen, self._screen = self._screen, None
        if screen is not None:
            processes.end(screen, signal.SIGTERM)

    def pids(self) -> list[int]:
        """Its processes that run."""
        return processes.of_group(self._process.pid) if self._process else []


def lacking() -> tuple[str, ...]:
    """Debian packages that it takes and that are not there; all where its bindings cannot be read in."""
    try:
        subprocess.run([PYTHON, "-c", BINDINGS], capture_output=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return PACKAGES
    return () if shutil.which("Xvfb") else PACKAGES[2:]


def _namespace() -> tuple[str, ...]:
    """What gives a process mounts of its own: root may; others where the system has user namespaces."""
    return ("unshare", "--mount") if os.geteuid() == 0 else ("unshare", "--map-root-user", "--mount")


def _screen(size: tuple[int, int]) -> tuple[subprocess.Popen[bytes], int]:
    """A screen that nobody sees, and its number."""
    read, write = os.pipe()
    screen = subprocess.Popen(
        [*processes.NOT_LONGER_THAN_US, "Xvfb", "-displayfd", str(write), "-nolisten", "tcp",
         "-screen", "0", f"{size[0]}x{size[1]}x24"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        pass_fds=[write],
        start_new_session=True,
    )  # fmt: skip
    os.close(write)
    with os.fdopen(read) as number:
        return screen, int(number.readline())


class WebKitPage(EnginePage):
    """The page of a window that was started."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._process = process

    def call(self, function: str, argument: Any = None) -> Any:
        return self._asked(do="call", function=function, argument=argument)

    def goto(self, url: str) -> None:
        self._asked(do="goto", url=url)

    def reload(self) -> None:
        self._asked(do="reload")

    def tap_at(self, x: float, y: float) -> None:
        with self._all_arrive("pointerup", 1):
            self._asked(do="tap", x=x, y=y)

    def type_text(self, text: str) -> None:
        with self._all_arrive("keyup", len(text)):
            self._asked(do="type", text=text)

    @contextmanager
    def _all_arrive(self, kind: str, count: int) -> Iterator[None]:
        """Wait until the page had so many more events: the window passes them on one after the other.

        A page that is another one by now had them.
        """
        before = self.call(COUNTED, kind)
        yield
        self.until(lambda: self.call(ARRIVED, [kind, before + count]), f"{kind} never came")

    def _asked(self, **what: Any) -> Any:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(what).encode() + b"\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        if not line:
            raise PageError("the browser is gone; what it said lies in said.log of its folder")
        said = json.loads(line)
        if "error" in said:
            raise PageError(str(said["error"]))
        return said["result"]
