"""Secrets wrapped under a passphrase, and written whole or not at all.

Rules:
- Argon2id (RFC 9106; its second recommended setting by default) makes a key of the passphrase, AES-256-GCM
  wraps, and the settings are authenticated with it. PKCS#8 passwords are not used: they come with too few
  rounds of an older function;
- a checksum beside the wrapping tells damage from a wrong passphrase, which a failing AES-GCM tag alone
  cannot;
- a file is written under another name with mode 0600, flushed, renamed, and the folder flushed.
"""

import fcntl
import json
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from argon2.low_level import Type, hash_secret_raw
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from webapp.domain.plain.json_strict import JsonError, canonical_bytes, read_json
from webapp.proof.errors import DamagedKeyFileError, WrongPassphraseError
from webapp.proof.keys.encoding import from_base64url, to_base64url

DOMAIN = "zerokeep/keys/1"
RandomBytes = Callable[[int], bytes]


@dataclass(frozen=True, slots=True)
class WrappingCost:
    """What one guess of the passphrase costs.
    The default is RFC 9106's choice for machines with little memory.
    """

    passes: int = 3
    memory_kib: int = 64 * 1024
    lanes: int = 4

    def is_within_reason(self) -> bool:
        """Whether a file may ask for this much work (a bound against a file made to exhaust the machine)."""
        return 1 <= self.passes <= 20 and 8 <= self.memory_kib <= 2 * 1024 * 1024 and 1 <= self.lanes <= 16


USUAL_COST = WrappingCost()


def wrap(secrets: bytes, passphrase: str, random_bytes: RandomBytes, cost: WrappingCost) -> bytes:
    """JSON text that holds the secrets wrapped under the passphrase."""
    head: dict[str, Any] = {
        "domain": DOMAIN,
        "derivation": "argon2id",
        "cipher": "A256GCM",
        "passes": cost.passes,
        "memory_kib": cost.memory_kib,
        "lanes": cost.lanes,
        "salt": to_base64url(random_bytes(16)),
        "nonce": to_base64url(random_bytes(12)),
    }
    sealed = AESGCM(_wrapping_key(head, passphrase)).encrypt(
        from_base64url(head["nonce"]), secrets, canonical_bytes(head)
    )
    body = {**head, "sealed": to_base64url(sealed)}
    return (
        json.dumps({**body, "sha256": sha256(canonical_bytes(body)).hexdigest()}, indent=1).encode() + b"\n"
    )


def unwrap(data: bytes, passphrase: str) -> bytes:
    """The secrets again. Raises DamagedKeyFileError or WrongPassphraseError."""
    body = _whole_body(data)
    sealed = from_base64url(body.pop("sealed"))
    try:
        return AESGCM(_wrapping_key(body, passphrase)).decrypt(
            from_base64url(body["nonce"]), sealed, canonical_bytes(body)
        )
    except InvalidTag:
        raise WrongPassphraseError("keys.wrong_passphrase") from None


def _whole_body(data: bytes) -> dict[str, Any]:
    try:
        body = read_json(data)
        checksum = body.pop("sha256")
        if checksum == sha256(canonical_bytes(body)).hexdigest() and body["domain"] == DOMAIN:
            return dict(body)
    except (JsonError, KeyError, AttributeError, TypeError):
        pass
    raise DamagedKeyFileError("keys.damaged")


def _wrapping_key(head: dict[str, Any], passphrase: str) -> bytes:
    cost = WrappingCost(head["passes"], head["memory_kib"], head["lanes"])
    if not cost.is_within_reason():
        raise DamagedKeyFileError("keys.unreasonable")
    salt = from_base64url(head["salt"])
    return hash_secret_raw(
        passphrase.encode(), salt, cost.passes, cost.memory_kib, cost.lanes, hash_len=32, type=Type.ID
    )


def write_whole(folder: Path, name: str, data: bytes) -> None:
    """Put `data` at folder/name: after a crash there is either the former file or this one."""
    temporary = folder / f"{name}.new"
    temporary.unlink(missing_ok=True)
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    temporary.rename(folder / name)
    directory = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(directory)
    finally:
        os.close(directory)


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """While this goes on, no other process writes keys into this folder, renews them or finishes a renewal:
    each waits here for the one before. Raises OSError where the folder cannot be opened.
    """
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
