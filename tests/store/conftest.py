"""An empty store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from webapp.store import Store


@pytest.fixture
def kept_in_file(tmp_path: Path) -> Iterator[Store]:
    store = Store.open(tmp_path / "zerokeep.db")
    yield store
    store.close()


@pytest.fixture(params=["kept_in_file"])
def store(request: pytest.FixtureRequest) -> Store:
    found: Store = request.getfixturevalue(request.param)
    return found
