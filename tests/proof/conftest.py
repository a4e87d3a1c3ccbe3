"""Keys, a clock and chance for the tests of the proof room, all fixed."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec

from tests.proof.made_up import CHEAP, PASSPHRASE, counted_bytes, numbered_keys
from tests.proof.pdfs import AT_UTC, REASON, SHOP, plain_pdf
from webapp.proof.keys.key_ring import KeyRing
from webapp.proof.pdf.pdf_seal import seal


@pytest.fixture(scope="session")
def now() -> datetime:
    return datetime(2026, 11, 25, 8, 3, 12, tzinfo=UTC)


@pytest.fixture(scope="session")
def key_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("ring") / "keys"


@pytest.fixture(scope="session")
def keyring(key_folder: Path, now: datetime) -> KeyRing:
    return KeyRing.create(
        key_folder,
        PASSPHRASE,
        common_name="Millbrook Teaching Shop",
        now=now,
        new_key=numbered_keys(),
        random_bytes=counted_bytes(),
        cost=CHEAP,
    )


@pytest.fixture(scope="session")
def tablet_key() -> ec.EllipticCurvePrivateKey:
    return ec.derive_private_key(90_001, ec.SECP256R1())


@pytest.fixture(scope="session")
def sealed(keyring: KeyRing) -> bytes:
    """A small PDF, sealed."""
    return seal(plain_pdf(), keyring, AT_UTC, SHOP, REASON)
