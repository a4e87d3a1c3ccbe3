"""What every test may rely on; fixtures of one subject stand in the conftest.py of its folder."""

import os
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from tests.kit.cheap_secrets import hash_cheaply
from tests.kit.chromium import CHROMIUM_FLAGS, HEADLESS, HINTING

# The one test command says the same twice: examples follow from the test's own text, and none is late on a
# busy machine. Other draws are for the long run (`python -m tests.long seeds`), and each fault found there is
# pinned here.
settings.register_profile("the same twice", derandomize=True, deadline=None)
settings.register_profile("random seeds", deadline=None, max_examples=500, print_blob=True)
settings.load_profile(os.environ.get("ZEROKEEP_EXAMPLES", "the same twice"))


hash_cheaply()

# Rooms whose files take longest are begun first, so that the last processor does not wait for one of them.
LONGEST = ("browser", "long", "web", "services", "quality")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the rooms in that order; within a room all stays as it is."""
    of_room = {room: place for place, room in enumerate(LONGEST)}
    here = Path(__file__).parent
    items.sort(key=lambda item: of_room.get(item.path.relative_to(here).parts[0], len(LONGEST)))


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """Debian's own Chromium, so that no browser has to be downloaded; its engine alone."""
    return {**browser_type_launch_args, "executable_path": HEADLESS, "args": [*CHROMIUM_FLAGS, HINTING]}


@pytest.fixture
def open_path(tmp_path: Path) -> Path:
    """A folder that other accounts may look into:
    pytest's own are for their owner alone, those above them too.
    """
    for folder in (tmp_path, *tmp_path.parents):
        if folder == Path(tempfile.gettempdir()):
            break
        folder.chmod(0o755)
    return tmp_path
