"""Debian's Firefox ESR as it is installed, with a profile that outlives it, by WebDriver BiDi.

Source of the messages: W3C, WebDriver BiDi (session, browsingContext, script, input), and WebDriver for the
codes of keys.
"""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from websockets.exceptions import WebSocketException
from websockets.sync.client import ClientConnection, connect

from tests.kit.chromium import PORTRAIT
from tests.kit.engines import processes
from tests.kit.engines.page import EnginePage, PageError
from tests.kit.server import free_port

PROGRAM, PACKAGES = "firefox-esr", ("firefox-esr",)
LONGEST_S = 60
# Names are of this computer inside the browser, so that the system stays as it is. The rest keeps a new
# profile from asking, telling and looking for newer versions.
SETTINGS = {
    "dom.w3c_touch_events.enabled": 1,
    "browser.aboutwelcome.enabled": False,
    "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "app.normandy.enabled": False,
    "app.update.auto": False,
    "extensions.update.enabled": False,
}
AS_JSON = "async text => JSON.stringify(await ({function})(JSON.parse(text))) ?? 'null'"


class Firefox:
    """One tablet's browser. `authority`: what it trusts besides what it comes with; None for nothing more."""

    name = "Firefox ESR"

    def __init__(self, folder: Path, authority: Path | None, *hosts: str) -> None:
        self.folder = folder
        self._process: subprocess.Popen[bytes] | None = None
        self._session: Session | None = None
        folder.mkdir(parents=True)
        settings = {**SETTINGS, "network.dns.localDomains": ",".join(hosts)}
        lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in settings.items()]
        (folder / "user.js").write_text("\n".join(lines), encoding="utf-8")
        if authority is not None:
            trust(folder, authority)

    @property
    def version(self) -> str:
        said = subprocess.run([PROGRAM, "--version"], capture_output=True, text=True, check=True)
        return said.stdout.split()[-1]

    def open_page(self) -> EnginePage:
        """Start it on what the folder holds; its one page."""
        port = free_port()
        arguments = [
            "--headless",
            "--no-remote",
            "--profile",
            self.folder,
            "--remote-debugging-port",
            str(port),
        ]
        with (self.folder / "said.log").open("ab") as log:
            self._process = subprocess.Popen(
                [*processes.NOT_LONGER_THAN_US, PROGRAM, *arguments, "about:blank"],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        self._session = Session(f"ws://127.0.0.1:{port}/session")
        self._session.send("session.new", capabilities={})
        return FirefoxPage(self._session)

    def kill(self) -> None:
        """SIGKILL to all its processes."""
        self._end(signal.SIGKILL)

    def close(self) -> None:
        """Let go of it; it may be dead already."""
        self._end(signal.SIGKILL)

    def pids(self) -> list[int]:
        """Its processes that run."""
        return processes.of_group(self._process.pid) if self._process else []

    def _end(self, how: signal.Signals) -> None:
        session, self._session = self._session, None
        if self._process is not None:
            processes.end(self._process, how)
        if session is not None:
            session.close()


def trust(profile: Path, authority: Path) -> None:
    """Let a profile that was never opened trust this authority for servers."""
    database = f"sql:{profile}"
    for arguments in (("-N", "--empty-password"), ("-A", "-n", "shop", "-t", "C,,", "-i", str(authority))):
        subprocess.run(["certutil", "-d", database, *arguments], check=True, capture_output=True)


def lacking() -> tuple[str, ...]:
    """Debian packages that it takes and that are not there."""
    return () if shutil.which(PROGRAM) else PACKAGES


class Session:
    """Commands to the browser, one after the other."""

    def __init__(self, address: str) -> None:
        self._number = 0
        self._open = ExitStack()
        self._connection = self._open.enter_context(_connected(address))

    def send(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Send a command and wait for its answer. Raises PageError with what the browser says."""
        self._number += 1
        asked = {"id": self._number, "method": method, "params": parameters}
        self._connection.send(json.dumps(asked))
        while True:
            answer = json.loads(self._connection.recv(timeout=LONGEST_S))
            if answer.get("id") == self._number:
                break
        if answer["type"] == "error":
            raise PageError(f"{method}: {answer['error']}: {answer['message']}")
        return dict(answer["result"])

    def close(self) -> None:
        self._open.close()


def _connected(address: str) -> ClientConnection:
    until = time.monotonic() + LONGEST_S
    while True:
        try:
            # No proxy of the environment stands between, and no origin is named: none is allowed.
            return connect(address, proxy=None, max_size=None, ping_interval=None)
        except (OSError, WebSocketException):
            if time.monotonic() > until:
                raise
            time.sleep(0.1)


class FirefoxPage(EnginePage):
    """The first page of a session."""

    def __init__(self, session: Session, size: tuple[int, int] = PORTRAIT) -> None:
        self._session = session
        self._context = session.send("browsingContext.getTree")["contexts"][0]["context"]
        viewport = {"width": size[0], "height": size[1]}
        session.send("browsingContext.setViewport", context=self._context, viewport=viewport)

    def call(self, function: str, argument: Any = None) -> Any:
        answer = self._session.send(
            "script.callFunction",
            functionDeclaration=AS_JSON.replace("{function}", function),
            arguments=[{"type": "string", "value": json.dumps(argument)}],
            target={"context": self._context},
            awaitPromise=True,
        )
        if answer["type"] == "exception":
            raise PageError(f"{answer['exceptionDetails']['text']}\nin {function}")
        return json.loads(answer["result"]["value"])

    def goto(self, url: str) -> None:
        self._session.send("browsingContext.navigate", context=self._context, url=url, wait="complete")

    def reload(self) -> None:
        self._session.send("browsingContext.reload", context=self._context, wait="complete")

    def tap_at(self, x: float, y: float) -> None:
        self._act(
            "pointer",
            [
                {"type": "pointerMove", "x": round(x), "y": round(y)},
                {"type": "pointerDown", "button": 0},
                {"type": "pointerUp", "button": 0},
            ],
            parameters={"pointerType": "touch"},
        )

    def type_text(self, text: str) -> None:
        self._act("key", [{"type": kind, "value": one} for one in text for kind in ("keyDown", "keyUp")])

    def _act(self, kind: str, actions: list[dict[str, Any]], **more: Any) -> None:
        source = {"type": kind, "id": kind, "actions": actions, **more}
        self._session.send("input.performActions", context=self._context, actions=[source])
