"""One set of keys for the whole run, and a house of its own for each test that asks for one."""

import shutil
from pathlib import Path

import pytest

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from webapp.proof.keys import KeyRing


@pytest.fixture(scope="session")
def keyring(tmp_path_factory: pytest.TempPathFactory) -> KeyRing:
    return fixed_keyring(tmp_path_factory.mktemp("ring") / "keys", Clock())


@pytest.fixture(scope="session")
def furnished(tmp_path_factory: pytest.TempPathFactory, keyring: KeyRing) -> Path:
    """A shop's folder as it is right after loading, to be copied: hashing secrets is slow on purpose."""
    folder = tmp_path_factory.mktemp("furnished")
    House(folder, keyring).store.close()
    return folder


@pytest.fixture
def house(tmp_path: Path, furnished: Path, keyring: KeyRing) -> House:
    shutil.copytree(furnished, tmp_path / "shop")
    return House(tmp_path / "shop", keyring, loaded=True)
