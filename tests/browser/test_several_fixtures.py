"""A machine with two vises: the tablet asks which, says it on every screen, and the record holds for each."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext

from tests.kit.chromium import SIZES
from tests.kit.demo import Demo, now, settings_of
from tests.kit.desk import Desk
from tests.kit.looking import faults, look, look_twice
from tests.kit.second_vise import NAME, SEATING, VISE, bolt_second_vise, mill_at_second_vise
from tests.kit.server import ROOT, Server
from tests.kit.tablet import NewTablet, Operator, Tablet
from webapp.commands.opening import opened
from webapp.services.audit.auditing import audit
from webapp.services.setups import answering, recording

LEAD = "mara"


@pytest.fixture
def demo(demo_shop: Path, tmp_path: Path) -> Demo:
    """A copy of the demo shop whose mill Plover has two vises."""
    demo = Demo.copy(demo_shop, tmp_path / "shop")
    bolt_second_vise(demo)
    return demo


def test_a_setup_at_the_second_vise_from_the_choice_to_its_sealed_record(
    tablet: Tablet,
    server: Server,
    demo: Demo,
    new_context: Callable[..., BrowserContext],
    tmp_path: Path,
) -> None:
    tablet.begin("plover", "odile", fixture=VISE, begin=False)
    assert f"at Plover, {NAME}" in tablet.text()
    tablet.tap("begin")
    assert tablet.page.locator(".where b", has_text=NAME).count() == 1
    tablet.page.context.set_offline(True)
    pin, slot = demo.people["odile"].pin, demo.slot("plover", "odile")
    operator = Operator(tablet, mill_at_second_vise(demo), slot, pin)
    operator.walk(until="x.search")
    sheet = tablet.sheet_in_use()
    assert (sheet["fixture"]["id"], sheet["fixture"]["seating"]["id"]) == (VISE, SEATING)
    assert {axis["usual"]["centre_nm"] for axis in sheet["axes"]} == {None}, "nothing of the first vise"
    tablet.reload()
    assert tablet.page.locator(".where b", has_text=NAME).count() == 1
    operator.walk()
    assert tablet.screen == "after"
    assert f"{slot} holds the place of {NAME}, and of no other fixture" in tablet.text()
    tablet.page.context.set_offline(False)
    tablet.all_sent()
    setup = tablet.events_of("setup.signed")[0]["setup"]
    touched = {one["data"]["axis"]: one["data"]["value_nm"] for one in tablet.events_of("touch.entered")}

    desk = Desk(new_context((1280, 800)).new_page(), server.address)
    desk.sign_in(LEAD, demo.people[LEAD])
    assert NAME in desk.open(f"/desk/setups/{setup}")
    answer_all(demo, setup)
    desk.sign_off(setup, demo.people[LEAD])
    with opened(settings_of(demo.folder)) as (store, _):
        with store.reading():
            sealed = [one["id"] for one in store.setups.setups(machine="plover") if one["sealed"]]
            past = next(one for one in sealed if one != setup)
        for number, one in enumerate((setup, past)):
            path = tmp_path / f"record-{number}.pdf"
            path.write_bytes(recording.stored_pdf(store, one)[1])
            status, report = verify(demo, path)
            assert status == 0, report
        assert audit(store) == []
    tablet.tap("another")
    fetch_newer_sheet(tablet, VISE, than=sheet["compiled_at_utc"])
    first, second = (sheet_of(tablet, "plover", one) for one in ("plover-vise", VISE))
    assert {axis["axis"]: axis["usual"]["centre_nm"] for axis in second["axes"]} == touched
    assert all(axis["usual"]["values"] > 1 for axis in first["axes"])
    tablet.begin("plover", "odile", fixture="plover-vise", begin=False)
    assert f"Your slot {slot} holds the place of {NAME}." in tablet.text()


def test_the_screens_of_the_choice_fit_and_hold_what_axe_asks(tablet: Tablet) -> None:
    shown = [tablet.page.locator(".row-label").all_inner_texts()]
    assert shown[0].count("Plover") == 1, "one row a machine"
    tablet.tap("machine", tablet._listed("plover"))
    found = looked(tablet, "which fixture")
    assert tablet.page.locator(".row-label").all_inner_texts() == ["Vise A", NAME]
    tablet.tap("fixture", VISE)
    assert f"at Plover, {NAME}?" in tablet.text()
    tablet.tap("back")
    assert tablet.screen == "fixtures"
    tablet.tap("fixture", VISE)
    tablet.tap("person", "odile")
    found += looked(tablet, "ready at the second vise")
    assert found == []


def looked(tablet: Tablet, name: str) -> list[str]:
    page = tablet.page
    return [*look(page, name, SIZES), *look_twice(page, name, SIZES), *faults(page, name)]


def test_a_vise_without_a_sheet_is_named_and_cannot_be_chosen(demo: Demo, new_tablet: NewTablet) -> None:
    """Whoever stands before it must not take the other one's sheet for its own."""
    with opened(settings_of(demo.folder)) as (store, _), store.writing():
        whole = store.shop.item("fixture", VISE)
        store.shop.put("fixture", VISE, {"id": VISE, "name": NAME})  # not whole any more
    assert whole is not None
    tablet = new_tablet()
    tablet.tap("machine", tablet._listed("plover"))
    row = tablet.find("fixture", VISE)
    assert "No setup sheet of it" in row.inner_text()
    assert row.get_attribute("aria-disabled") == "true"
    row.click(force=True)
    assert tablet.screen == "fixtures"
    with opened(settings_of(demo.folder)) as (store, _), store.writing():
        store.shop.put("fixture", VISE, whole)  # the row says so by itself, where somebody stands and waits
    tablet.sync()
    tablet.page.wait_for_selector(f'[data-action="fixture"][data-choice="{VISE}"]:not([aria-disabled])')
    tablet.tap("fixture", VISE)
    assert tablet.screen == "people"


def answer_all(demo: Demo, setup: str) -> None:
    """The lead lets first values stand: there is nothing yet to compare them with."""
    with opened(settings_of(demo.folder)) as (store, _):
        for question in answering.questions(store):
            if question["setup"] == setup:
                answering.answer(store, question["id"], LEAD, "go_on", "First values here.", now())


def fetch_newer_sheet(tablet: Tablet, fixture: str, than: str) -> None:
    """Let the page look for the server, and wait until it keeps what it fetched."""
    tablet.sync()
    for _ in range(300):
        if sheet_of(tablet, "plover", fixture)["compiled_at_utc"] > than:
            return
        tablet.page.wait_for_timeout(100)
    raise AssertionError(f"no sheet of {fixture} newer than {than} came")


def sheet_of(tablet: Tablet, machine: str, fixture: str) -> dict[str, Any]:
    rows = [json.loads(row["text"]) for row in tablet.rows("sheets") if row["machine"] == machine]
    here = [one for one in rows if one["fixture"]["id"] == fixture]
    return max(here, key=lambda one: str(one["compiled_at_utc"]))


def verify(demo: Demo, path: Path) -> tuple[int, dict[str, Any]]:
    command = (sys.executable, "-m", "webapp.cli", "verify", str(path), "--json")
    asked = subprocess.run(
        [*command, "--data-folder", str(demo.folder)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert asked.stdout, asked.stderr
    return asked.returncode, json.loads(asked.stdout)
