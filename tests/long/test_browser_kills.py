"""A slice of the browser's kills: a few for real, and what a loss would look like is found."""

from __future__ import annotations

from pathlib import Path
from random import Random
from types import SimpleNamespace
from typing import Any, cast

import pytest
from playwright.sync_api import Playwright

from tests.kit.chromium import Profile
from tests.kit.demo import Demo, make_demo
from tests.kit.once import made_once
from tests.kit.server import Server
from tests.kit.tablet import Operator
from tests.long.browser_kills import Walk, look, rounds

A_FEW = 3
WHERE = ("at the very step", "the press was kept and its screen not seen", "between two setups")
STEPS = ("ready.machine", "ready.stop", "ready.probe", "ready.board")


@pytest.mark.browser
def test_a_browser_killed_at_random_comes_back_where_it_was(
    playwright: Playwright, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    demo = Demo.copy(made_once(tmp_path_factory, "demo", make_demo), tmp_path / "shop")
    server = Server(demo.folder)
    server.start()
    try:
        found = rounds(playwright, demo, server, tmp_path, A_FEW, lambda _: None)
    finally:
        server.kill()
    assert sum(found[where] for where in WHERE) == A_FEW
    assert found["events"] > 0


def came_back(ids: list[str], step: str, confirmed: list[str], **more: Any) -> Walk:
    """A walk that stood at ready.stop, and what its tablet holds after a kill."""
    rows = [
        {"id": one, "sequence": number, "payload": {"previous": [None, *ids][number - 1]}}
        for number, one in enumerate(ids, start=1)
    ]
    sheet = {"procedure": {"stages": [{"steps": [{"id": one} for one in STEPS]}]}}
    tablet = SimpleNamespace(
        **{"events": lambda: rows, "screen": "step", "step": step, "kind": "", "sheet_in_use": lambda: sheet}
        | more
    )
    hand = cast("Operator", SimpleNamespace(tablet=tablet))
    return Walk(cast("Profile", None), hand, Random(0), confirmed, step="ready.stop")


@pytest.mark.parametrize("step", ["ready.stop", "ready.probe", "ready.board"])
def test_the_step_that_stood_and_those_that_its_press_led_to_are_taken(step: str) -> None:
    look(came_back(["a", "b", "c"], step, ["a", "b"]))


@pytest.mark.parametrize(
    ("ids", "step", "confirmed"),
    [
        (["a"], "ready.stop", ["a", "b"]),
        (["a", "c"], "ready.stop", ["a", "b"]),
        (["a", "b"], "ready.machine", ["a", "b"]),
    ],
    ids=["an event is gone", "another one in its place", "a step that was done is open again"],
)
def test_what_was_lost_is_found(ids: list[str], step: str, confirmed: list[str]) -> None:
    with pytest.raises(AssertionError, match=r"lost|came back"):
        look(came_back(ids, step, confirmed))


def test_a_number_that_is_there_twice_is_found() -> None:
    walk = came_back(["a", "b"], "ready.stop", ["a", "b"])
    walk.tablet.events()[1]["sequence"] = 1
    with pytest.raises(AssertionError):
        look(walk)
