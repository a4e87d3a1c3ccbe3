"""What the server and the commands ask of a shop's folder: its keys, what is public of them, its name, and
whether it sealed a file.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from webapp.data_folder import CERTIFICATES_FILE, HEAD_KEYS_FILE
from webapp.proof.errors import KeyFolderError, WrongPassphraseError
from webapp.proof.keys.key_file import alone_in, write_whole
from webapp.proof.keys.key_ring import FILE_NAME, KeyRing
from webapp.proof.report import NOT_ON_LEDGER
from webapp.services.evidence.entries import sealed_here
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.evidence.succession import HEAD_KEY_RENEWED, PIN_KEY_RENEWED, RECEIPT_KEY_RENEWED
from webapp.settings import Settings, key_passphrase
from webapp.store import Store
from webapp.store.files import flush_folder

KEYS_NAME = "Zerokeep"
# A ring that was renewed lies in this folder beside the one in use until the ledger has the renewal.
NEXT = "next"
PEM_BLOCK = re.compile(b"-----BEGIN CERTIFICATE-----.*?-----END CERTIFICATE-----", re.DOTALL)
RENEWALS = ("seal.renewed", RECEIPT_KEY_RENEWED, PIN_KEY_RENEWED, HEAD_KEY_RENEWED)


def shop_name(store: Store) -> str:
    """The shop's name as it was loaded; this program's own before that."""
    with store.reading():
        shop = store.shop.item("shop", "shop")
    return str(shop["name"]) if shop else KEYS_NAME


def own_hash(store: Store, pdf: bytes) -> str:
    """The hash of these bytes if this server sealed them and noted the hash on its ledger, else
    NOT_ON_LEDGER.
    """
    digest = hashlib.sha256(pdf).hexdigest()
    with store.reading():
        return digest if sealed_here(store, digest) else NOT_ON_LEDGER


def open_keyring(settings: Settings, now: Callable[[], datetime], new_token: Callable[[], str]) -> KeyRing:
    """The server's keys, made at the first start. Raises BadSetting, WrongPassphrase, KeyFolderError.

    Beside a shop that has a past no keys are ever made: they would fit nothing that stands there. The
    certificates of the seal and the keys of the ledger's heads are public: they lie beside the keys in two
    files, for whoever verifies.
    """
    made = (settings.keys_folder / FILE_NAME).exists()
    if not made:
        _refuse_beside_a_past(settings)
    passphrase = key_passphrase(settings, new_token, made=made)
    if made:
        finish_renewal(settings)
        keyring = _opened(settings, passphrase)
    else:
        keyring = KeyRing.create(settings.keys_folder, passphrase, common_name=KEYS_NAME, now=now())
    write_certificates(settings, keyring)
    write_head_keys(settings, keyring)
    return keyring


def _opened(settings: Settings, passphrase: str) -> KeyRing:
    try:
        return KeyRing.open(settings.keys_folder, passphrase)
    except WrongPassphraseError:
        if settings.next_unlock_path.exists():
            raise KeyFolderError("keys.half_renewed", file=str(settings.next_unlock_path)) from None
        raise


def _refuse_beside_a_past(settings: Settings) -> None:
    if not Store.is_at(settings.database):
        return
    store = Store.open(settings.database, settings.files_folder)
    try:
        with store.reading():
            entries = store.ledger.size()
    finally:
        store.close()
    if entries:
        raise KeyFolderError("keys.missing", file=str(settings.keys_folder / FILE_NAME), entries=entries)


class Renewal(NamedTuple):
    """What the ledger says of renewed keys: the kind of entry, what it is about, and its data."""

    kind: str
    subject: str
    said: Mapping[str, object]


def renew_keys(
    settings: Settings, store: Store, renewed: KeyRing, passphrase: str, note: Renewal, now: datetime
) -> None:
    """Put renewed keys into the place of those in use and note it on the ledger: both, or neither, whatever
    happens between. Tablets follow what the ledger says: a key that it does not name they would not take.

    The ring is written beside the one in use; the entry names it by the hash of its file; then it takes its
    place. What was cut off there is finished when the keys are opened next. Raises StoreError, OSError.
    """
    with alone_in(settings.keys_folder):
        renewed.save(settings.keys_folder / NEXT, passphrase)
        data = {**note.said, "keys": _digest_of_next(settings.keys_folder)}
        with store.writing():
            change(store, note.kind, SERVER, note.subject, None, data, now)
        _take_over(settings.keys_folder)


def finish_renewal(settings: Settings) -> None:
    """Let keys that the ledger names take their place; those that it does not name were never in use.
    A renewal that another process is at is waited for.
    """
    folder = settings.keys_folder
    if not (folder / NEXT / FILE_NAME).exists() or not Store.is_at(settings.database):
        return
    with alone_in(folder):
        if (folder / NEXT / FILE_NAME).exists():
            _finish(settings, folder)


def _finish(settings: Settings, folder: Path) -> None:
    store = Store.open(settings.database, settings.files_folder)
    try:
        with store.reading():
            rows = [row for kind in RENEWALS for row in store.ledger.changes(kind=kind, newest=1)]
    finally:
        store.close()
    if _digest_of_next(folder) in {json.loads(row["text"])["data"].get("keys") for row in rows}:
        _take_over(folder)
    else:
        shutil.rmtree(folder / NEXT)


def _digest_of_next(folder: Path) -> str:
    return hashlib.sha256((folder / NEXT / FILE_NAME).read_bytes()).hexdigest()


def _take_over(folder: Path) -> None:
    (folder / NEXT / FILE_NAME).replace(folder / FILE_NAME)
    flush_folder(folder)
    shutil.rmtree(folder / NEXT)


def certificates_pem(keyring: KeyRing) -> bytes:
    """The certificates of all seals, the one in use first, as PEM."""
    return b"".join(one.public_bytes(Encoding.PEM) for one in keyring.trusted_certificates)


def write_certificates(settings: Settings, keyring: KeyRing) -> None:
    """Put the certificates of all seals, the one in use first, into the file beside the keys.

    Others that stand there stay: records may have been sealed under them, whatever became of their keys. A
    file of which something cannot be read is kept beside it as it is.
    """
    file = settings.data_folder / CERTIFICATES_FILE
    before = file.read_bytes() if file.exists() else b""
    others = [one for one in _readable(before) if one not in keyring.trusted_certificates]
    pem = certificates_pem(keyring) + b"".join(one.public_bytes(Encoding.PEM) for one in others)
    if before == pem:
        return
    if not _is_all_readable(before):
        write_whole(settings.data_folder, f"{CERTIFICATES_FILE}.damaged-{_digest(before)[:8]}", before)
    write_whole(settings.data_folder, CERTIFICATES_FILE, pem)


def write_head_keys(settings: Settings, keyring: KeyRing) -> None:
    """Put the public keys of the ledger's heads, the one in use first, into their file; others there stay."""
    file = settings.data_folder / HEAD_KEYS_FILE
    before = file.read_text(encoding="utf-8", errors="replace").split() if file.exists() else []
    now = [key.text for key in keyring.head_keys]
    text = "".join(f"{key}\n" for key in (*now, *(one for one in before if one not in now)))
    if text.split() != before:
        write_whole(settings.data_folder, HEAD_KEYS_FILE, text.encode())


class Unknown(NamedTuple):
    """Something in a file for whoever verifies that none of the server's keys stands behind."""

    file: str
    what: str


def unknown_public(settings: Settings, keyring: KeyRing) -> list[Unknown]:
    """Certificates and keys of heads, beside the server's keys, that are none of theirs: of a key that was
    lost once, or put there by somebody whose seals and heads would be taken for the shop's.
    """
    certificates, heads = (settings.data_folder / name for name in (CERTIFICATES_FILE, HEAD_KEYS_FILE))
    own, known = {key.text for key in keyring.head_keys}, keyring.trusted_certificates
    found = [
        Unknown(CERTIFICATES_FILE, f"SHA-256 {_digest(one.public_bytes(Encoding.DER))}")
        for one in _readable(certificates.read_bytes())
        if one not in known
    ]
    lines = heads.read_text(encoding="utf-8", errors="replace").split()
    return [*found, *(Unknown(HEAD_KEYS_FILE, one) for one in lines if one not in own)]


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _readable(pem: bytes) -> list[x509.Certificate]:
    """The certificates that can be read, each for itself: one that cannot takes no other one with it."""
    found = []
    for block in PEM_BLOCK.findall(pem):
        with suppress(ValueError):
            found.append(x509.load_pem_x509_certificate(block))
    return found


def _is_all_readable(pem: bytes) -> bool:
    again = b"".join(one.public_bytes(Encoding.PEM) for one in _readable(pem))
    return again.split() == pem.split()
