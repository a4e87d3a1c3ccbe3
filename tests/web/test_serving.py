"""Starting and ending the real server: what stops a start is said, and requests in flight are finished."""

from __future__ import annotations

import http.client
import os
import select
import signal
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.kit.past import keep_past
from tests.web.conftest import Site
from webapp.data_folder import CannotStart, make_data_folder
from webapp.server.connections import Bounds
from webapp.server.serving import check_port, prepare, read_the_past, seal_what_is_missing
from webapp.services.numbers import histories
from webapp.settings import Settings

PROGRAM = """
import os, sys
from webapp.server.serving import serve
from webapp.settings import read_settings
serve(read_settings(os.environ))
"""

# What a start, and most answers, need nothing of; together they take longer to load than all else.
HEAVY = ("fontTools.subset", "fontTools.ttLib", "matplotlib", "pyhanko", "scipy", "weasyprint", "webapp.demo")
PREPARED = """
import os, sys
from webapp.server.serving import prepare
from webapp.settings import read_settings
prepare(read_settings(os.environ))
print(*(name for name in sys.argv[1:] if name in sys.modules))
"""


@pytest.fixture
def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_a_port_in_use_is_named_with_the_option_that_chooses_another(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(CannotStart) as refusal:
            check_port(Settings(data_folder=tmp_path, port=port))
    assert str(port) in str(refusal.value)
    assert "--port" in str(refusal.value)


def test_a_data_folder_that_cannot_be_made_is_named_with_its_option(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(CannotStart) as refusal:
        make_data_folder(Settings(data_folder=tmp_path / "file" / "data"))
    assert str(tmp_path / "file" / "data") in str(refusal.value)
    assert "--data-folder" in str(refusal.value)


def test_a_data_folder_that_cannot_be_written_to_is_named(tmp_path: Path) -> None:
    with pytest.raises(CannotStart, match="cannot be written") as refusal:
        make_data_folder(Settings(data_folder=tmp_path), may_write=lambda _: False)
    assert str(tmp_path) in str(refusal.value)


def test_records_that_are_missing_are_sealed_after_the_start(site: Site) -> None:
    first = site.house.signed_off()
    site.house.clock.forward(hours=1)
    second = site.house.signed_off()
    assert seal_what_is_missing(site.app, pause_s=0) == 2
    lead = site.signed_in("ines")
    for walk in (first, second):
        assert lead.get(f"/records/{walk.setup}.pdf").status_code == 200
    assert seal_what_is_missing(site.app, pause_s=0) == 0


def test_the_past_is_read_ahead_so_that_the_first_sheet_waits_for_nothing(site: Site) -> None:
    keep_past(site.house, [-381_250_000, -381_251_000, -381_252_000])
    store = site.app.extensions["zerokeep"].store
    assert ("vise-a", "X") not in histories._stores.get(store, {})
    assert read_the_past(site.app) == 2
    assert [len(one.values_nm) for one in histories._stores[store]["vise-a", "X"].history] == [3]


def test_an_empty_data_folder_says_how_a_shop_is_loaded(tmp_path: Path, free_port: int) -> None:
    said = "\n".join(
        prepare(Settings(data_folder=tmp_path, port=free_port, key_passphrase="four plain words here"))
    )
    assert "zerokeep load SHOP.toml" in said
    assert f"http://localhost:{free_port}/set-up" in said
    assert "Code for the set-up, good for this start alone: " in said
    assert stat.S_IMODE((tmp_path / "set-up-code").stat().st_mode) == 0o600
    assert f"http://localhost:{free_port}" in said


def test_a_start_reads_in_nothing_that_seals_prints_or_cuts_fonts(tmp_path: Path, free_port: int) -> None:
    environment = {
        **os.environ,
        "PYTHONPATH": str(Path(__file__).resolve().parents[2]),
        "ZEROKEEP_DATA_FOLDER": str(tmp_path / "data"),
        "ZEROKEEP_PORT": str(free_port),
    }
    for _ in range(2):  # the first may cut the fonts
        told = subprocess.run(
            [sys.executable, "-c", PREPARED, *HEAVY],
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
    assert told.stdout.split() == []


def test_the_wrong_key_passphrase_stops_the_start(tmp_path: Path, free_port: int) -> None:
    prepare(Settings(data_folder=tmp_path, port=free_port, key_passphrase="four plain words here"))
    with pytest.raises(CannotStart):
        prepare(Settings(data_folder=tmp_path, port=free_port, key_passphrase="four other words here"))


@pytest.fixture
def server(tmp_path: Path, free_port: int) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    environment = {
        **os.environ,
        "PYTHONPATH": str(Path(__file__).resolve().parents[2]),
        "ZEROKEEP_DATA_FOLDER": str(tmp_path / "data"),
        "ZEROKEEP_PORT": str(free_port),
        "ZEROKEEP_KEY_PASSPHRASE": "four plain words here",
    }
    with (tmp_path / "log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM], env=environment, stdout=log, stderr=log, start_new_session=True
        )
    try:
        wait_until_it_answers(process, free_port, tmp_path / "log")
        yield process, free_port
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def wait_until_it_answers(process: subprocess.Popen[bytes], port: int, log: Path) -> None:
    for _ in range(300):
        assert process.poll() is None, log.read_text()
        try:
            if get(port, "/")[0] == 200:
                return
        except OSError:
            time.sleep(0.2)
    raise AssertionError(log.read_text())


def get(port: int, path: str, host: str = "localhost") -> tuple[int, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    try:
        connection.request("GET", path, headers={"Host": f"{host}:{port}"})
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


def test_the_server_answers_refuses_other_hosts_and_ends_politely(
    server: tuple[subprocess.Popen[bytes], int],
) -> None:
    process, port = server
    assert b'href="/set-up"' in get(port, "/")[1]
    assert get(port, "/", host="evil.example")[0] == 400
    slow = socket.create_connection(("127.0.0.1", port), timeout=20)
    body = b'{"nonce":"bm9uY2Utb2YtYS10YWJsZXQ"}'
    head = (
        f"POST /api/reach HTTP/1.1\r\nHost: localhost:{port}\r\nSec-Fetch-Site: same-origin\r\nX-Zerokeep: "
        "1\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\nConnection: close\r\n\r\n"
    )
    with slow:
        slow.sendall(head.encode() + body[:10])
        time.sleep(0.5)  # the request is under way now
        process.send_signal(signal.SIGTERM)
        time.sleep(0.5)
        slow.sendall(body[10:])
        answer = b""
        while part := slow.recv(65536):
            answer += part
    assert answer.startswith(b"HTTP/1.1 200")
    assert process.wait(timeout=30) == 0


def test_the_worker_ends_when_the_main_process_was_killed(
    server: tuple[subprocess.Popen[bytes], int],
) -> None:
    process, port = server
    process.kill()
    process.wait()
    for _ in range(100):
        try:
            get(port, "/")
        except OSError:
            break
        time.sleep(0.1)
    else:
        raise AssertionError("the worker still answers")


def test_half_sent_uploads_and_silent_connections_stop_nobody(
    server: tuple[subprocess.Popen[bytes], int],
) -> None:
    """A thread each was taken for them once:
    eight half-sent uploads, or as many silent connections as were allowed.
    """
    _, port = server
    head = (
        f"POST /api/events HTTP/1.1\r\nHost: localhost:{port}\r\nSec-Fetch-Site: same-origin\r\nX-Zerokeep: "
        "1\r\n"
        "Content-Type: application/json\r\nContent-Length: 4000\r\n\r\n"
    )
    waiting = [socket.create_connection(("127.0.0.1", port), timeout=20) for _ in range(112)]
    try:
        for one in waiting[:12]:
            one.sendall(head.encode() + b'{"events":')
        time.sleep(0.5)
        answers = {get(port, "/")[0] for _ in range(20)}
    finally:
        for one in waiting:
            one.close()
    assert answers == {200}


def test_a_connection_that_asks_nothing_is_closed_and_one_address_does_not_hold_them_all(
    server: tuple[subprocess.Popen[bytes], int],
) -> None:
    """Half a head, not a byte, and more connections of one address than it may hold, in one wait."""
    _, port = server
    with ExitStack() as stack:
        half, *silent = [
            stack.enter_context(socket.create_connection(("127.0.0.1", port), timeout=60))
            for _ in range(Bounds().of_one_address + 40)
        ]
        half.sendall(b"GET / HTTP/1.1\r\nHost:")
        gone, _, _ = select.select(silent, (), (), 60)
        assert gone, "one too many, or one that asked nothing"
        elsewhere = socket.create_connection(("127.0.0.1", port), 60, source_address=("127.0.0.2", 0))
        stack.enter_context(elsewhere)
        elsewhere.sendall(f"GET /health HTTP/1.1\r\nHost: localhost:{port}\r\n\r\n".encode())
        assert elsewhere.recv(12) == b"HTTP/1.1 200"
        assert {one.recv(1) for one in silent} == {b""}
        assert half.recv(1000) in {b"", b"HTTP/1.1 408 Request Timeout\r\n"}
