"""What every test may rely on; fixtures of one subject stand in the conftest.py of its folder."""

import tempfile
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = "/usr/bin/chromium"
# Without these flags a headless Chromium wants a sandbox that a container does not give,
# and calls its maker at every start.
CHROMIUM_FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """Debian's own Chromium, so that no browser has to be downloaded."""
    return {**browser_type_launch_args, "executable_path": CHROMIUM, "args": list(CHROMIUM_FLAGS)}


@pytest.fixture
def open_path(tmp_path: Path) -> Path:
    """A folder that other accounts may look into: pytest's own are for their owner alone, those above them too."""
    for folder in (tmp_path, *tmp_path.parents):
        if folder == Path(tempfile.gettempdir()):
            break
        folder.chmod(0o755)
    return tmp_path
