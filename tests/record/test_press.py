"""The press: the same bytes from a process that can fetch nothing, ended when it goes on for too long."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.record.made_up import Tale, normal
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.record.bundle import RecordBundle
from webapp.domain.record.facts import RecordNotFinalError
from webapp.record import errors, render, render_unsigned
from webapp.record.press import Press, clear_left_folders, own_accounts
from webapp.words import say

ROOT = Path(__file__).resolve().parents[2]


SECRET = "ZEROKEEP_TEST_SECRET"


@pytest.fixture(scope="module")
def press() -> Iterator[Press]:
    os.environ[SECRET] = "x"
    with Press() as one:
        yield one
    del os.environ[SECRET]


def process_id(press: Press) -> int | None:
    return None if press._process is None else press._process.pid


def endless() -> RecordBundle:
    """A record whose notice is as long as a file may be."""
    bundle = normal().bundle()
    sheet = bundle.sheet()
    sheet["shop"]["notice"] = "word " * 1_500_000
    return replace(bundle, sheet_text=canonical_text(sheet))


def kill_while_busy(press: Press) -> None:
    """Kill the process once it has a job: before that it would only be replaced."""
    while not press._turn.locked():
        time.sleep(0.01)
    time.sleep(0.2)
    assert process_id(press) is not None
    os.kill(process_id(press), signal.SIGSEGV)


def test_the_press_gives_the_bytes_that_the_same_process_gives(press: Press) -> None:
    assert press.render(normal().bundle(), final=True) == render(normal().bundle())
    assert press.render(normal().bundle(), final=False) == render_unsigned(normal().bundle())


def test_the_process_stays_warm_from_job_to_job(press: Press) -> None:
    press.render(normal().bundle(), final=True)
    first = process_id(press)
    press.render(normal().bundle(), final=True)
    assert process_id(press) == first


def test_a_refusal_comes_back_by_its_own_name(press: Press) -> None:
    tale = Tale()
    tale.start()
    with pytest.raises(RecordNotFinalError) as refused:
        press.render(tale.bundle(), final=True)
    assert refused.value.fields == {"status_code": "record.status_running"}


def test_a_bundle_that_makes_no_page_is_a_named_failure_and_the_next_one_works(press: Press) -> None:
    with pytest.raises(errors.PressFailedError):
        press.render(replace(normal().bundle(), sheet_text='{"domain":"zerokeep/sheet/1"}'), final=False)
    assert press.render(normal().bundle(), final=True) == render(normal().bundle())


def test_a_job_that_goes_on_for_too_long_ends_and_the_next_one_works(press: Press) -> None:
    press.render(normal().bundle(), final=True)
    first, allowed = process_id(press), press._job_seconds
    press._job_seconds = 1
    with pytest.raises(errors.PressTookTooLongError):
        press.render(endless(), final=True)
    press._job_seconds = allowed
    assert not Path(f"/proc/{first}").exists()
    assert press.render(normal().bundle(), final=True) == render(normal().bundle())
    assert process_id(press) != first


def test_a_process_that_dies_is_named_and_replaced(press: Press) -> None:
    press.render(normal().bundle(), final=True)
    killer = threading.Thread(target=kill_while_busy, args=(press,))
    killer.start()
    with pytest.raises(errors.PressDiedError) as died:
        press.render(endless(), final=True)
    killer.join()
    assert died.value.fields == {"how": "SIGSEGV"}
    assert press.render(normal().bundle(), final=True) == render(normal().bundle())


def test_a_closed_press_leaves_no_process_and_no_file() -> None:
    press = Press()
    press.render(normal().bundle(), final=True)
    number = process_id(press)
    folder = Path(f"/proc/{number}/cwd").readlink()
    press.close()
    assert not Path(f"/proc/{number}").exists()
    assert not folder.exists()
    press.close()


def test_folders_that_ended_servers_left_go_and_all_others_stay(tmp_path: Path) -> None:
    ended = subprocess.Popen(["true"])
    ended.wait()
    own = tmp_path / f"zerokeep-press-{os.getpid()}-new"
    names = {
        f"zerokeep-press-{ended.pid}-old": True,
        f"zerokeep-press-{ended.pid}-young": False,
        f"zerokeep-press-{os.getpid()}-running": False,
        f"zerokeep-press-{ended.pid}-Else": False,
        f"zerokeep-press-{ended.pid}": False,
        "zerokeep-pressed-1-x": False,
    }
    for name in (own.name, *names):
        (tmp_path / name).mkdir()
        (tmp_path / name / "file").write_text("x")
        if not name.endswith(("-new", "-young")):
            os.utime(tmp_path / name, (0, 0))
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    link = tmp_path / f"zerokeep-press-{ended.pid}-link"
    link.symlink_to(elsewhere)
    assert clear_left_folders(own, own_accounts()) == [name for name, goes in names.items() if goes]
    left = {path.name for path in tmp_path.iterdir()}
    assert left == {own.name, link.name, "elsewhere", *(name for name, goes in names.items() if not goes)}


def test_a_folder_of_another_account_stays(tmp_path: Path) -> None:
    ended = subprocess.Popen(["true"])
    ended.wait()
    own, left = (tmp_path / f"zerokeep-press-{number}-x" for number in (os.getpid(), ended.pid))
    own.mkdir()
    left.mkdir()
    os.utime(left, (0, 0))
    assert clear_left_folders(own, own_accounts() ^ {os.geteuid()}) == []
    assert clear_left_folders(own, own_accounts()) == [left.name]


def test_a_press_names_its_server_in_the_folder(press: Press) -> None:
    press.render(normal().bundle(), final=True)
    folder = Path(f"/proc/{process_id(press)}/cwd").readlink()
    assert folder.name.startswith(f"zerokeep-press-{os.getpid()}-")


def test_threads_take_turns(press: Press) -> None:
    expected, found = render(normal().bundle()), []
    threads = [
        threading.Thread(target=lambda: found.append(press.render(normal().bundle(), final=True)))
        for _ in "abc"
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [expected] * 3


def test_the_process_knows_nothing_of_its_surroundings(press: Press) -> None:
    press.render(normal().bundle(), final=True)
    place = Path(f"/proc/{process_id(press)}")
    open_files = {str(link.readlink()) for link in (place / "fd").iterdir()}
    assert SECRET.encode() not in (place / "environ").read_bytes()
    assert all(name.startswith(("pipe:", "/dev/null")) for name in open_files), open_files


def test_the_process_has_the_limits_that_it_was_given(press: Press) -> None:
    press.render(normal().bundle(), final=True)
    limits = Path(f"/proc/{process_id(press)}/limits").read_text()
    found = {line[:26].strip(): line[26:].split()[0] for line in limits.splitlines()[1:]}
    assert found["Max address space"] == str(1024**3)
    assert found["Max file size"] == "0"
    assert found["Max open files"] == "64"
    assert found["Max core file size"] == "0"
    assert int(found["Max cpu time"]) > 0
    status = Path(f"/proc/{process_id(press)}/status").read_text()
    assert ("no_new_privileges" in press.granted) == ("NoNewPrivs:\t1" in status)


def test_every_failure_has_words() -> None:
    for error in (
        errors.PressTookTooLongError(seconds=30),
        errors.PressDiedError(how="SIGKILL"),
        errors.PressDidNotStartError(how="exit status 1"),
        errors.PressFailedError(why="KeyError"),
    ):
        assert say(error.code, error.fields)


# What the process gives up, tried in a process of its own.

CONFINED = """
import sys; from pathlib import Path; from webapp.record import confinement
own = Path(sys.argv[1]); (own / "inside").write_text("mine")
confinement.confine(own, [Path(sys.prefix), Path(sys.base_prefix)])
try:
    {act}
except confinement.ConfinedError:
    sys.exit(7)
"""
GIVEN_UP = {
    "a socket": "import socket; socket.socket()",
    "a name look-up": "import socket; socket.getaddrinfo('localhost', 80)",
    "a program": "import subprocess; subprocess.run(['true'])",
    "a shell": "import os; os.system('true')",
    "a copy of itself": "import os; os.fork()",
    "another program in its place": "import os; os.execv('/bin/true', ['true'])",
    "a spawned program": "import os; os.posix_spawn('/bin/true', ['true'], {})",
    "a file outside": "open('/etc/hostname').read()",
    "a file outside through a link": "open(own / 'link').read()",
    "a file outside, low down": "import os; os.open('/etc/hostname', os.O_RDONLY)",
    "writing": "open(own / 'new', 'w')",
    "writing, low down": "import os; os.open(own / 'new', os.O_CREAT | os.O_WRONLY)",
    "taking a file away": "import os; os.remove(own / 'inside')",
    "another library": "import ctypes; ctypes.CDLL('libc.so.6')",
}


def confined(act: str, folder: Path) -> int:
    (folder / "link").symlink_to("/etc/hostname")
    command = [sys.executable, "-c", CONFINED.format(act=act), str(folder)]
    return subprocess.run(command, cwd=ROOT, check=False, capture_output=True).returncode


@pytest.mark.parametrize("what", GIVEN_UP)
def test_the_process_gives_up(what: str, open_path: Path) -> None:
    assert confined(GIVEN_UP[what], open_path) == 7


def test_the_process_keeps_its_own_folder_to_read(open_path: Path) -> None:
    assert confined("assert open(own / 'inside').read() == 'mine'", open_path) == 0


def test_memory_ends_at_a_gibibyte() -> None:
    script = ("from webapp.record.confinement import limit_memory; limit_memory()\n"
              "try: bytearray(1024**3)\nexcept MemoryError: raise SystemExit(7)")  # fmt: skip
    assert subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=False).returncode == 7


def test_processor_time_ends_at_its_limit() -> None:
    script = "from webapp.record.confinement import limit_time; limit_time(1)\nwhile True: pass"
    ended = subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=False)
    assert ended.returncode == -signal.SIGXCPU
