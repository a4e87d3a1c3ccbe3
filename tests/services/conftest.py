"""One set of keys for the whole run, and a house of its own for each test that asks for one."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.kit import more
from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.postgresql import Rows, server
from tests.kit.shop import fixed_keyring
from webapp.proof.keys.key_ring import KeyRing

# Whose tests run in both databases. The others ask in a file's own words, or are about what no database
# has a say in; those of MORE do too when ZEROKEEP_TESTS_MORE is set, because hashing secrets takes minutes.
MORE = {"test_access", "test_enrolling", "test_pins"} if more.ALL else set[str]()
IN_BOTH = {
    "test_all_of_a_kind",
    "test_faults",
    "test_finding_setups",
    "test_half_set",
    "test_intake",
    "test_kept_seals",
    "test_letting_go",
    "test_meanwhile",
    "test_names",
    "test_parallel_requests",
    "test_photos",
    "test_procedures",
    "test_register",
    "test_several_fixtures",
    "test_signing_off",
    "test_step_pictures",
    "test_worrying",
    *MORE,
}


@pytest.fixture(scope="session")
def keyring(tmp_path_factory: pytest.TempPathFactory) -> KeyRing:
    return fixed_keyring(tmp_path_factory.mktemp("ring") / "keys", Clock())


@pytest.fixture(scope="session")
def furnished(tmp_path_factory: pytest.TempPathFactory, keyring: KeyRing) -> Path:
    """A shop's folder as it is right after loading, to be copied: hashing secrets is slow on purpose."""
    folder = tmp_path_factory.mktemp("furnished")
    House(folder, keyring).store.close()
    return folder


@pytest.fixture(scope="session")
def furnished_rows(tmp_path_factory: pytest.TempPathFactory, keyring: KeyRing) -> Rows:
    """The rows of the same shop on a server, to be put back."""
    folder = tmp_path_factory.mktemp("furnished-rows")
    House(folder, keyring, address=server().emptied()).store.close()
    return server().rows()


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "house" in metafunc.fixturenames and Path(str(metafunc.module.__file__)).stem in IN_BOTH:
        metafunc.parametrize("house", ["in_file", "on_server"], indirect=True)


@pytest.fixture
def house_in_file(tmp_path: Path, furnished: Path, keyring: KeyRing) -> House:
    shutil.copytree(furnished, tmp_path / "shop")
    return House(tmp_path / "shop", keyring, loaded=True)


@pytest.fixture
def house_on_server(tmp_path: Path, furnished_rows: Rows, keyring: KeyRing) -> Iterator[House]:
    (tmp_path / "shop").mkdir()
    address = server().emptied(furnished_rows)
    house = House(tmp_path / "shop", keyring, loaded=True, address=address)
    yield house
    house.store.close()


@pytest.fixture
def house(request: pytest.FixtureRequest) -> House:
    found: House = request.getfixturevalue(f"house_{getattr(request, 'param', 'in_file')}")
    return found
