"""Real tablets at real servers:
a demo shop made once in a run, copied for each test, served by its own process.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext

from tests.kit.chromium import PORTRAIT, viewport
from tests.kit.demo import Demo, make_demo
from tests.kit.first_start import make_kettle_lane
from tests.kit.once import made_once
from tests.kit.server import Server
from tests.kit.tablet import NewTablet, Operator, Tablet, operator


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker("browser")


@pytest.fixture(scope="session")
def demo_shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shop with a short past. Nobody writes here; tests get copies."""
    return made_once(tmp_path_factory, "demo", make_demo)


@pytest.fixture(scope="session")
def kettle_lane(tmp_path_factory: pytest.TempPathFactory, browser: Browser) -> Path:
    """A shop that somebody new set up in the browser, on an empty folder. Nobody writes here either."""
    return made_once(tmp_path_factory, "kettle-lane", lambda folder: make_kettle_lane(folder, browser))


@pytest.fixture
def demo(demo_shop: Path, tmp_path: Path) -> Demo:
    """A copy of the demo shop."""
    return Demo.copy(demo_shop, tmp_path / "shop")


@pytest.fixture
def server(demo: Demo) -> Iterator[Server]:
    """A server on that copy."""
    server = Server(demo.folder)
    server.start()
    yield server
    server.kill()


@pytest.fixture
def new_context(browser: Browser) -> Iterator[Callable[..., BrowserContext]]:
    """Browsers that share nothing, closed at the end.

    Their owner asked for less motion: drawing what slides, sixty times a second, is a sixth of a walk's work.
    Profiles of their own (see `Profile`) move, and whole setups are walked in those.
    """
    made: list[BrowserContext] = []

    def new(size: tuple[int, int] = PORTRAIT, **more: Any) -> BrowserContext:
        made.append(browser.new_context(**{"viewport": viewport(size), "reduced_motion": "reduce"} | more))
        return made[-1]

    yield new
    for context in made:
        context.close()


@pytest.fixture
def new_tablet(server: Server, demo: Demo, new_context: Callable[..., BrowserContext]) -> NewTablet:
    """Tablets that a lead took into use."""

    def new(size: tuple[int, int] = PORTRAIT, **more: Any) -> Tablet:
        tablet = Tablet(new_context(size, **more).new_page(), server.address)
        tablet.enrol(demo.code())
        return tablet

    return new


@pytest.fixture
def tablet(new_tablet: NewTablet) -> Tablet:
    """One such tablet."""
    return new_tablet()


@pytest.fixture
def odile(tablet: Tablet, demo: Demo) -> Operator:
    """Odile, who has begun a setup at Plover on it."""
    tablet.begin("plover", "odile")
    return operator(tablet, demo)
