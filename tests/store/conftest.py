"""A store in each of the two databases, empty, for whatever has to hold in both."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.kit.postgresql import server
from webapp.store import Store


@pytest.fixture
def kept_in_file(tmp_path: Path) -> Iterator[Store]:
    store = Store.open(tmp_path / "zerokeep.db")
    yield store
    store.close()


@pytest.fixture
def kept_on_server(tmp_path: Path) -> Iterator[Store]:
    store = Store.open(server().emptied(), tmp_path)
    yield store
    store.close()


@pytest.fixture(params=["kept_in_file", "kept_on_server"])
def store(request: pytest.FixtureRequest) -> Store:
    found: Store = request.getfixturevalue(request.param)
    return found
