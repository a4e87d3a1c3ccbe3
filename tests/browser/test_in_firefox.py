"""A slice of `python -m tests.long engines`: the offline setup in Debian's Firefox ESR, by the hand that
walks it in Chromium (tests/browser/test_one_setup_end_to_end.py).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.kit import tls
from tests.kit.demo import Demo
from tests.kit.engines.firefox import Firefox
from tests.kit.engines.offline_setup import self_test, walk_a_setup_without_the_server
from tests.kit.tablet import Tablet


@pytest.fixture
def server(demo: Demo) -> Iterator[tls.TlsServer]:
    server = tls.TlsServer(demo.folder)
    server.start()
    yield server
    server.kill()


@pytest.fixture
def firefox(server: tls.TlsServer, tmp_path: Path) -> Iterator[Firefox]:
    """One that trusts the shop's own authority."""
    firefox = Firefox(tmp_path / "firefox", server.authority, tls.NAME)
    yield firefox
    firefox.close()


def test_a_setup_survives_a_dead_server_a_reload_and_a_killed_firefox(
    demo: Demo, server: tls.TlsServer, firefox: Firefox
) -> None:
    page = firefox.open_page()
    said = self_test(page, server.address)
    assert {said[name] for name in ("secure", "worker", "keys")} == {"passes"}
    tablet = Tablet(page, server.address)
    tablet.enrol(demo.code())
    walked = walk_a_setup_without_the_server(firefox, tablet, server, demo, print)
    assert (walked[0], walked[-1], len(set(walked))) == ("ready.machine", "sign.name", len(walked))
