"""How long a start takes: a server's to its first answer, and the two commands of a fresh checkout.

Run it by hand: `python -m tests.bench.bench_start [--set-up]`. It prints seconds by the clock and of the
processor, of all processes of the start, and asserts nothing about time: those of one run compare only with
each other, and where other programs run beside it those of the processor say more. `--set-up`: also the last
commit in an empty folder, where the first `python3 webapp --help` brings everything in over the network and
the second finds it.
"""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.kit.server import free_port

ROOT = Path(__file__).resolve().parents[2]
TICKS = os.sysconf("SC_CLK_TCK")
STARTS = 3
PATIENCE_S = 600.0


def processor_s(group: int) -> float:
    """Processor seconds so far of all processes of a group, and of those of their children that ended."""
    whole = 0
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            fields = (entry / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[2]) == group:
            whole += sum(map(int, fields[11:15]))
    return whole / TICKS


@contextmanager
def serving(folder: Path, port: int) -> Iterator[subprocess.Popen[bytes]]:
    environment = {
        **os.environ,
        "ZEROKEEP_DATA_FOLDER": str(folder),
        "ZEROKEEP_PORT": str(port),
        "ZEROKEEP_KEY_PASSPHRASE": "four plain words here",
    }
    with (folder.parent / "log").open("ab") as log:
        process = subprocess.Popen(
            (sys.executable, "-P", "-m", "webapp.cli", "serve"),
            env={**environment, "PYTHONPATH": str(ROOT)},
            stdout=log,
            stderr=log,
            start_new_session=True,
        )
    try:
        yield process
    finally:
        os.killpg(process.pid, signal.SIGTERM)
        process.wait()


def to_first_answer(folder: Path) -> tuple[float, float]:
    """Seconds by the clock and of the processor from the command to the first page of a server."""
    port, began = free_port(), time.perf_counter()
    with serving(folder, port) as process:
        while time.perf_counter() - began < PATIENCE_S:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/health", timeout=60):
                    return time.perf_counter() - began, processor_s(process.pid)
            except OSError:
                if process.poll() is not None:
                    break
                time.sleep(0.02)
    raise SystemExit((folder.parent / "log").read_text())


def whole(command: tuple[str, ...], folder: Path) -> tuple[float, float]:
    """The same for a command to its end."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, cwd=folder, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.perf_counter() - began, processor


def checked_out(folder: Path) -> Path:
    """The last commit's files, as a fresh clone has them."""
    (place := folder / "checkout").mkdir()
    archive = subprocess.run(("git", "archive", "HEAD"), cwd=ROOT, check=True, capture_output=True).stdout
    subprocess.run(("tar", "-x", "-C", place), input=archive, check=True)
    return place


def main(words: list[str]) -> None:
    def say(name: str, took: tuple[float, float]) -> None:
        print(f"{name:52} {took[0]:7.2f} s   processor {took[1]:6.2f} s", flush=True)

    with tempfile.TemporaryDirectory() as made:
        shop = Path(made) / "shop"
        say("zerokeep serve, empty folder, to the first answer", to_first_answer(shop))
        for _ in range(STARTS):
            say("zerokeep serve again, to the first answer", to_first_answer(shop))
        if "--set-up" in words:
            place = checked_out(Path(made))
            say(
                "python3 webapp --help, nothing set up",
                whole(("/usr/bin/python3", "webapp", "--help"), place),
            )
            for _ in range(STARTS):
                say("python3 webapp --help again", whole(("/usr/bin/python3", "webapp", "--help"), place))
            say("of it the program", whole((".venv/bin/zerokeep", "--help"), place))


if __name__ == "__main__":
    main(sys.argv[1:])
