"""`python -m tests.long container SYSTEM`: the container file of README, line by line, in a bare system.

SYSTEM is a folder with nothing but a Debian 12 in it, as `debootstrap --variant=minbase bookworm SYSTEM`
makes one, with a way to a package mirror; only root may change into it. Every line of the file is done as it
stands there: RUN in the system as the user of that line, COPY from the last commit, ENV for all that follows,
and CMD is started as its user and has to answer at its port. No image is made and no container started: what
an engine adds (layers, its network, its own limits) is not shown.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BASE = {"PATH": "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin", "LANG": "C.UTF-8"}
# Where the system finds a way out, if this computer has one of its own: passed on as they are.
PASSED_ON = ("SSL_CERT_FILE", "REQUESTS_CA_BUNDLE", "PIP_CERT", "http_proxy", "https_proxy")
PATIENCE_S = 600.0


def container_file(readme: str) -> list[tuple[str, str]]:
    """The lines of README's container file as (word, rest), those that go on with a backslash joined."""
    block = readme.split("```\nFROM ", 1)[1].split("```", 1)[0]
    lines = f"FROM {block}".replace("\\\n", " ").splitlines()
    return [(word, rest.strip()) for word, _, rest in (line.partition(" ") for line in lines if line.strip())]


@dataclass
class Build:
    """A system on which the lines are done one after the other."""

    system: Path
    user: str = "root"
    folder: str = "/"
    environment: dict[str, str] = field(
        default_factory=lambda: BASE | {name: os.environ[name] for name in PASSED_ON if name in os.environ}
    )
    ports: list[int] = field(default_factory=list)
    command: list[str] = field(default_factory=list)

    def do(self, word: str, rest: str) -> None:
        """Do one line. Raises LookupError for a word that is not known here, CalledProcessError."""
        sys.stdout.write(f"{word} {rest}\n")
        sys.stdout.flush()
        steps = {
            "FROM": lambda: None, "RUN": lambda: self.run(rest), "COPY": lambda: self.copy(*rest.split()),
            "WORKDIR": lambda: setattr(self, "folder", rest), "USER": lambda: setattr(self, "user", rest),
            "ENV": lambda: self.environment.update(part.split("=", 1) for part in rest.split()),
            "EXPOSE": lambda: self.ports.append(int(rest)), "VOLUME": lambda: None,
            "CMD": lambda: setattr(self, "command", json.loads(rest)),
        }  # fmt: skip
        steps[word]()

    def inside(self, command: list[str]) -> list[str]:
        """A command line that runs in the system, as the user and in the folder of this line."""
        return ["chroot", f"--userspec={self.user}", str(self.system), "/bin/sh", "-c",
                f'cd {self.folder} && exec "$@"', "sh", *command]  # fmt: skip

    def run(self, line: str) -> None:
        subprocess.run(self.inside(["/bin/sh", "-c", line]), env=self.environment, check=True)

    def copy(self, source: str, target: str) -> None:
        """The last commit's files, which are what a fresh clone holds."""
        if source != ".":
            raise LookupError(source)
        place = self.system / target.lstrip("/")
        place.mkdir(parents=True)
        archive = subprocess.run(["git", "archive", "HEAD"], cwd=ROOT, check=True, capture_output=True).stdout
        subprocess.run(["tar", "-x", "-C", place], input=archive, check=True)

    def answers(self) -> str:
        """Start CMD; what /health answers at the exposed port. Raises TimeoutError."""
        process = subprocess.Popen(self.inside(self.command), env=self.environment, start_new_session=True)
        until = time.monotonic() + PATIENCE_S
        try:
            while process.poll() is None and time.monotonic() < until:
                try:
                    host = self.environment["ZEROKEEP_TRUSTED_HOSTS"].split(",")[0]
                    address = f"http://127.0.0.1:{self.ports[0]}/health"
                    asked = urllib.request.Request(address, headers={"Host": host})
                    with urllib.request.urlopen(asked, timeout=20) as answer:  # noqa: S310 - our own
                        return str(answer.read().decode())
                except OSError:
                    time.sleep(0.5)
            raise TimeoutError(f"it ended with {process.poll()} or did not answer")
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGTERM)
            process.wait()


@contextmanager
def mounted(system: Path) -> Iterator[None]:
    """What a container's engine mounts too: processes and devices."""
    subprocess.run(["mount", "-t", "proc", "proc", system / "proc"], check=True)
    subprocess.run(["mount", "--rbind", "/dev", system / "dev"], check=True)
    subprocess.run(["mount", "--make-rslave", system / "dev"], check=True)
    try:
        yield
    finally:
        for place in ("dev", "proc"):
            subprocess.run(["umount", "-l", system / place], check=True)


def run(words: list[str]) -> int:
    """Do every line on the system; 0 when the server then answers."""
    if len(words) != 1 or not Path(words[0], "bin/sh").exists() or shutil.which("chroot") is None:
        print("Give the folder of a bare Debian 12, as root.", file=sys.stderr)
        return 2
    build = Build(Path(words[0]))
    with mounted(build.system):
        for word, rest in container_file((ROOT / "README.md").read_text(encoding="utf-8")):
            build.do(word, rest)
        print(f"GET /health: {build.answers().strip()}")
        print(f"as {build.user}, from the commit that stands")
    return 0
