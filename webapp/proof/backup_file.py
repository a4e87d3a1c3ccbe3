"""A backup in one file: the age format around a plain tar, whose last two members list the others and sign
the list.

Decision. Question: how does a backup lie on a disk that somebody may find? Options: a format of our own over
AES-GCM in chunks, or age (https://age-encryption.org/v1, X25519, ChaCha20-Poly1305 in chunks of 64 KiB that
cannot be swapped, dropped or cut short unseen). Choice: age, by pyrage: it streams whatever the size,
programs of others open it (Debian's `age -d -i KEY FILE | tar x`), and a server that holds the public half
alone can make backups every night and open none. Consequence: the private half has to be kept apart, on paper
or on a stick; without it nobody opens a backup. Anybody with the public half could make such a file, so the
list of its members is signed with the server's receipt key, and the key file that the owner keeps names that
key; a key that came later leads back to it (`key_succession`).

Rules: nothing of a member is used before the whole file was read and the list fits; names are plain, paths
stay inside, links and devices are refused, and so is whatever has more members or bytes than the caller
allows.
"""

from __future__ import annotations

import json
import os
import re
import tarfile
import threading
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import IO, Any

import pyrage

from webapp.domain.plain.json_strict import JsonError, canonical_bytes, read_json
from webapp.proof.errors import BackupRefused, JwsRefused
from webapp.proof.keys.jws import DeviceKey, public_jwk, sign
from webapp.proof.keys.key_succession import PrivateKey, succeeded_by

DOMAIN = "zerokeep/backup/1"
SIGNED_TYPE = "zerokeep-backup+jws"
MANIFEST, SIGNATURE = "manifest.json", "manifest.jws"
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*(/[A-Za-z0-9][A-Za-z0-9._-]*){0,3}")
MOST_MEMBERS = 2_000_000
LARGEST_MANIFEST = 512 * 1024 * 1024
CHUNK = 1024 * 1024
SIGNED_BY = "# signed by: "


@dataclass(frozen=True)
class BackupKey:
    """What the owner keeps: the private half (age identity) and the id of the key that signed lists then."""

    secret: str
    signer: str

    def as_text(self, shop: str) -> str:
        """The key file; `age -d -i` reads it as it is."""
        return (
            f"# Opens backups of {shop}. Keep it apart from the server and the backups, twice, one on\n"
            "# paper. Whoever has it and a backup has everything; without it nobody opens a backup.\n"
            f"{SIGNED_BY}{self.signer}\n{self.secret}\n"
        )

    @staticmethod
    def read(text: str) -> BackupKey:
        """The key in such a file. Raises BackupRefused."""
        lines = [line.strip() for line in text.splitlines()]
        secrets = [line for line in lines if line.startswith("AGE-SECRET-KEY-1")]
        signers = [line.removeprefix(SIGNED_BY).strip() for line in lines if line.startswith(SIGNED_BY)]
        if len(secrets) != 1 or len(signers) != 1:
            raise BackupRefused("backup.no_key_file")
        return BackupKey(secrets[0], signers[0])


@dataclass(frozen=True)
class Manifest:
    """What a backup says of itself: when it was made (UTC text), of which shop, the ledger's head in it, its
    files.
    """

    made_at_utc: str
    shop: str
    size: int
    root: str
    files: dict[str, tuple[int, str]]


def new_key(signer: str) -> tuple[BackupKey, str]:
    """A new key from the operating system's chance, and its public half (the recipient) for the server."""
    identity = pyrage.x25519.Identity.generate()
    return BackupKey(str(identity), signer), str(identity.to_public())


def write(
    out: IO[bytes],
    members: Iterable[tuple[str, Path]],
    said: dict[str, Any],
    recipient: str,
    signer: PrivateKey,
    statements: list[str],
) -> dict[str, tuple[int, str]]:
    """Write the backup of these files, in this order, each as it is when its turn comes; sizes and hashes by
    name.

    `said` goes into the list (made_at_utc, shop, head); `statements` lead from earlier signers to this one. A
    member that is gone by its turn is left out. Raises BackupRefused for a recipient that is none, OSError.
    """
    try:
        to = pyrage.x25519.Recipient.from_str(recipient)
    except pyrage.RecipientError:
        raise BackupRefused("backup.no_recipient") from None
    listed: dict[str, tuple[int, str]] = {}

    def everything() -> Iterator[bytes]:
        for name, path in members:
            yield from _member(name, path, listed)
        manifest = canonical_bytes(
            {
                "domain": DOMAIN,
                **said,
                "signer": public_jwk(signer.public_key()),
                "statements": statements,
                "files": {name: [size, digest] for name, (size, digest) in listed.items()},
            }
        )
        signed = {"domain": DOMAIN, "manifest_sha256": sha256(manifest).hexdigest()}
        kid = public_jwk(signer.public_key())["kid"]
        yield from _text(MANIFEST, manifest)
        yield from _text(SIGNATURE, sign(canonical_bytes(signed), signer, kid, SIGNED_TYPE).encode())
        yield bytes(2 * tarfile.BLOCKSIZE)

    source = _Pulled(everything())
    try:
        pyrage.encrypt_io(source, out, [to])
    except Exception:
        if source.error is not None:
            raise source.error from None
        raise
    return listed


class _Pulled:
    """An iterator of bytes that is read like a file."""

    def __init__(self, parts: Iterator[bytes]) -> None:
        self._parts = parts
        self._rest = b""
        self.error: BaseException | None = None

    def read(self, size: int = -1) -> bytes:
        """At most so many bytes, none at the end."""
        try:
            while not self._rest:
                self._rest = next(self._parts)
        except StopIteration:
            return b""
        except BaseException as error:
            self.error = error
            raise
        given, self._rest = self._rest[:size], self._rest[size:]
        return given


def _member(name: str, path: Path, listed: dict[str, tuple[int, str]]) -> Iterator[bytes]:
    try:
        file = path.open("rb")
    except FileNotFoundError:
        return
    with file:
        size, digest = os.fstat(file.fileno()).st_size, sha256()
        yield _header(name, size)
        left = size
        while left and (part := file.read(min(CHUNK, left))):
            digest.update(part)
            left -= len(part)
            yield part
        if left:
            raise OSError(f"{path} became shorter while it was read")
        yield bytes(-size % tarfile.BLOCKSIZE)
    listed[name] = (size, digest.hexdigest())


def _text(name: str, data: bytes) -> Iterator[bytes]:
    yield _header(name, len(data)) + data + bytes(-len(data) % tarfile.BLOCKSIZE)


def _header(name: str, size: int) -> bytes:
    info = tarfile.TarInfo(name)
    info.size, info.mode = size, 0o600
    return info.tobuf(tarfile.USTAR_FORMAT if size < 8 * 1024**3 else tarfile.GNU_FORMAT)


def unpack(source: IO[bytes], key: BackupKey, folder: Path, most_bytes: int) -> Manifest:
    """Write the members into an empty folder, each for its owner alone, and check all of them against the
    signed list.

    Raises BackupRefused, OSError. What lies in the folder then is to be thrown away.
    """
    try:
        identity = pyrage.x25519.Identity.from_str(key.secret)
    except pyrage.IdentityError:
        raise BackupRefused("backup.no_key_file") from None
    found: dict[str, tuple[int, str]] = {}
    kept: dict[str, bytes] = {}
    with _decrypted(source, identity) as plain:
        left = most_bytes
        for info in plain:
            if info.name in found or info.name in kept or len(found) > MOST_MEMBERS:
                raise BackupRefused("backup.member", name=info.name[:200])
            if not info.isreg() or not NAME.fullmatch(info.name):
                raise BackupRefused("backup.member", name=info.name[:200])
            left -= info.size
            if left < 0:
                raise BackupRefused("backup.too_large", most=most_bytes)
            data = plain.extractfile(info)
            if data is None:
                raise BackupRefused("backup.member", name=info.name[:200])
            if info.name in {MANIFEST, SIGNATURE}:
                kept[info.name] = data.read(LARGEST_MANIFEST)
            else:
                found[info.name] = _write(folder / info.name, data)
    return _checked(kept, found, key)


class _decrypted:  # noqa: N801 - used like a function
    """The tar inside, read while a thread decrypts; the end of the block says whether all of it was whole."""

    def __init__(self, source: IO[bytes], identity: Any) -> None:
        reading, writing = os.pipe()
        self._pipe = os.fdopen(reading, "rb", CHUNK)
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._decrypt, args=(source, identity, writing), daemon=True)
        self._thread.start()

    def _decrypt(self, source: IO[bytes], identity: Any, writing: int) -> None:
        try:
            with os.fdopen(writing, "wb", CHUNK) as out:
                pyrage.decrypt_io(source, out, [identity])
        except BaseException as error:  # noqa: BLE001 - told at the end of the block
            self._error = error

    def __enter__(self) -> tarfile.TarFile:
        try:
            return tarfile.open(fileobj=self._pipe, mode="r|", bufsize=CHUNK)
        except tarfile.TarError:
            self._end()
            raise BackupRefused("backup.altered") from None

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: object) -> None:
        if kind is None:
            with suppress(OSError):
                while self._pipe.read(CHUNK):
                    pass  # what stands behind the last member is authenticated as well
        self._end()
        if isinstance(error, tarfile.TarError):
            raise BackupRefused("backup.altered") from None

    def _end(self) -> None:
        self._pipe.close()
        self._thread.join()
        if isinstance(self._error, pyrage.DecryptError):
            raise BackupRefused("backup.other_key") from None
        if self._error is not None and not isinstance(self._error, BrokenPipeError):
            raise BackupRefused("backup.altered") from None


def _write(path: Path, data: IO[bytes]) -> tuple[int, str]:
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    size, digest = 0, sha256()
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as out:
        while part := data.read(CHUNK):
            out.write(part)
            digest.update(part)
            size += len(part)
        out.flush()
        os.fsync(out.fileno())
    return size, digest.hexdigest()


def _checked(kept: dict[str, bytes], found: dict[str, tuple[int, str]], key: BackupKey) -> Manifest:
    if kept.keys() != {MANIFEST, SIGNATURE}:
        raise BackupRefused("backup.unsigned")
    manifest = kept[MANIFEST]
    try:
        value = json.loads(manifest)
        signer = value["signer"]
        if succeeded_by(key.signer, value["statements"]) != DeviceKey.from_jwk(signer).kid:
            raise BackupRefused("backup.other_signer", expected=key.signer)
        text = kept[SIGNATURE].decode("ascii")
        signed = read_json(DeviceKey.from_jwk(signer).verify(text, SIGNED_TYPE).payload_bytes)
        if signed != {"domain": DOMAIN, "manifest_sha256": sha256(manifest).hexdigest()}:
            raise BackupRefused("backup.unsigned")
        listed = {name: (size, digest) for name, (size, digest) in value["files"].items()}
        said = Manifest(
            value["made_at_utc"], value["shop"], value["head"]["size"], value["head"]["root"], listed
        )
    except (JwsRefused, JsonError, ValueError, LookupError, TypeError, AttributeError):
        raise BackupRefused("backup.unsigned") from None
    for name in sorted(listed.keys() | found.keys()):
        if listed.get(name) != found.get(name):
            raise BackupRefused("backup.file_differs", name=name)
    return said
