"""One setup, once through, for real: server killed, page reloaded, browser killed, record sealed and tried.

The only things that are not those of a shop are the mill, which is simulated, and the hands.
Server and browser are processes that are ended by SIGKILL; the desk is used without JavaScript.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from playwright.sync_api import BrowserContext, Playwright

from tests.kit.chromium import Profile
from tests.kit.demo import AXES, Demo, now
from tests.kit.desk import Desk
from tests.kit.engines.offline_setup import (
    MACHINE,
    OPERATOR,
    all_arrives,
    kill_in_the_middle_of_a_number,
)
from tests.kit.server import ROOT, Server
from tests.kit.tablet import Operator, Tablet
from tests.proof.judges import pdfsig_accepts, pyhanko_accepts
from webapp.data_folder import CERTIFICATES_FILE
from webapp.domain.plain.lengths import Display, format_length

LEAD = "mara"
STAGES = ("ready", "vise", "probe", "slot", "copy", "clear", "z", "x", "y", "stow", "sign")


@pytest.fixture
def server(demo: Demo) -> Iterator[Server]:
    """Started from its files by the command that a shop types, nothing read in before."""
    server = Server(demo.folder, from_files=True)
    server.start()
    yield server
    server.kill()


@pytest.fixture
def profile(playwright: Playwright, tmp_path: Path) -> Any:
    profile = Profile(playwright, tmp_path / "tablet")
    yield profile
    profile.close()


def test_a_setup_survives_a_dead_server_a_reload_and_a_killed_browser_and_ends_as_a_sealed_record(
    demo: Demo,
    server: Server,
    profile: Profile,
    new_context: Callable[..., BrowserContext],
    tmp_path: Path,
) -> None:
    desk = Desk(new_context(java_script_enabled=False).new_page(), server.address)
    desk.sign_in(LEAD, demo.people[LEAD])
    tablet = Tablet(profile.open_page(), server.address, by_keypad=True)
    tablet.enrol(desk.make_code(), "Tablet 7")

    server.kill()
    assert not server.answers()
    tablet.begin(MACHINE, OPERATOR)
    sheet = tablet.sheet(MACHINE)
    hand = Operator(tablet, demo.mill(MACHINE), demo.slot(MACHINE, OPERATOR), demo.people[OPERATOR].pin)
    walked = list(hand.steps(until="vise.wipe"))
    tablet.reload()
    assert tablet.step == "vise.wipe"
    tablet.all_wait()

    walked += hand.steps(until="x.touch")
    tablet = hand.tablet = kill_in_the_middle_of_a_number(profile, tablet, hand)
    walked += [("x.touch", "touch"), *hand.steps()]
    assert [stage["id"] for stage in sheet["procedure"]["stages"]] == list(STAGES)
    steps = [step["id"] for stage in sheet["procedure"]["stages"] for step in stage["steps"]]
    shown = [step for step in steps if not step.endswith(".compare")]  # what agrees has no screen of its own
    assert [step for step, _ in walked] == shown
    made = all_arrives(tablet, server, demo)

    setup = made[0]["setup"]
    review_and_sign_off(desk, demo, sheet, setup, made)
    desk.open(f"/desk/setups/{setup}")
    pdf = desk.download("Sealed record", tmp_path)
    the_record_holds(demo, pdf, tmp_path)
    a_flipped_byte_fails(demo, pdf, tmp_path)
    tablet.page.wait_for_selector('[data-signature="signed_off"]', timeout=60_000)


def review_and_sign_off(
    desk: Desk, demo: Demo, sheet: dict[str, Any], setup: str, made: list[dict[str, Any]]
) -> None:
    """The lead finds the setup in the queue, sees every number beside its limit, and signs."""
    desk.sign_in(LEAD, demo.people[LEAD])
    desk.open("/desk")
    desk.page.locator(f'a[href="/desk/setups/{setup}"]').click()
    shown = desk.touches()
    display = next(one.display for one in demo.shop.machines if one.id == MACHINE)
    entered = {
        row["payload"]["data"]["axis"]: row["payload"]["data"]
        for row in made
        if row["payload"]["type"] == "touch.entered"
    }
    for axis in AXES:
        usual = next(one["usual"] for one in sheet["axes"] if one["axis"] == axis)
        cells, touch = shown[axis], entered[axis]
        assert cells["typed"] == touch["typed"]
        assert plain(touch["value_nm"], display) in cells["value"]
        assert plain(usual["centre_nm"], display) in cells["usual"]
        assert plain(abs(touch["difference_nm"]), display) in cells["difference"]
        assert plain(usual["ask_nm"], display) in cells["ask line"]
        assert plain(usual["stop_nm"], display) in cells["stop line"]
        assert touch["verdict"] in cells["verdict"].lower()
    desk.sign_off(setup, demo.people[LEAD])


def plain(value_nm: int, display: Display) -> str:
    """A length's digits, sign aside: the page writes signs as it likes."""
    return format_length(abs(value_nm), display).lstrip("+−-")


def verify(demo: Demo, path: Path) -> tuple[int, dict[str, Any]]:
    """What the program's own verifier says: exit status and report."""
    command = (sys.executable, "-m", "webapp.cli", "verify", str(path), "--json")
    asked = subprocess.run(
        [*command, "--data-folder", str(demo.folder)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert asked.stdout, asked.stderr
    return asked.returncode, json.loads(asked.stdout)


def pyhanko(demo: Demo, pdf: bytes) -> bool:
    """Whether pyHanko accepts the file.
    Asked in a thread: it starts an event loop, and Playwright has one.
    """
    certificates = x509.load_pem_x509_certificates((demo.folder / CERTIFICATES_FILE).read_bytes())
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(pyhanko_accepts, pdf, certificates, now()).result()


def the_record_holds(demo: Demo, pdf: bytes, folder: Path) -> None:
    """By this program, by pyHanko, by pdfsig."""
    path = folder / "record.pdf"
    path.write_bytes(pdf)
    status, report = verify(demo, path)
    assert [line["code"] for line in report["lines"] if not line["holds"]] == []
    assert (status, report["holds"]) == (0, True)
    assert pyhanko(demo, pdf)
    assert pdfsig_accepts(pdf, folder)


def a_flipped_byte_fails(demo: Demo, pdf: bytes, folder: Path) -> None:
    """One byte changed early, in the middle, at the very end: each time it is said what does not hold."""
    for place in (len(pdf) // 7, len(pdf) // 2, len(pdf) - 3):
        changed = bytearray(pdf)
        changed[place] ^= 0x20
        path = folder / "changed.pdf"
        path.write_bytes(bytes(changed))
        status, report = verify(demo, path)
        assert status == 1, place
        assert [line["detail"] for line in report["lines"] if not line["holds"]], place
    changed = bytearray(pdf)
    changed[len(pdf) // 2] ^= 0x01
    assert not pyhanko(demo, bytes(changed))
    assert not pdfsig_accepts(bytes(changed), folder)
