"""What the server and the commands ask of a shop's folder: its keys, what is public of them, its name, and
whether it sealed a file.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from webapp.data_folder import CERTIFICATES_FILE, HEAD_KEYS_FILE
from webapp.proof.errors import KeyFolderError, WrongPassphraseError
from webapp.proof.key_file import write_whole
from webapp.proof.keys import FILE_NAME, KeyRing
from webapp.proof.report import NOT_ON_LEDGER
from webapp.services.evidence.entries import sealed_here
from webapp.settings import Settings, key_passphrase
from webapp.store import Store

KEYS_NAME = "Zerokeep"


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


def certificates_pem(keyring: KeyRing) -> bytes:
    """The certificates of all seals, the one in use first, as PEM."""
    return b"".join(one.public_bytes(Encoding.PEM) for one in keyring.trusted_certificates)


def write_certificates(settings: Settings, keyring: KeyRing) -> None:
    """Put the certificates of all seals, the one in use first, into the file beside the keys.

    Others that stand there stay: records may have been sealed under them, whatever became of their keys.
    """
    file = settings.data_folder / CERTIFICATES_FILE
    before = file.read_bytes() if file.exists() else b""
    pem = certificates_pem(keyring) + b"".join(
        one.public_bytes(Encoding.PEM) for one in _readable(before) if one not in keyring.trusted_certificates
    )
    if before != pem:
        write_whole(settings.data_folder, CERTIFICATES_FILE, pem)


def write_head_keys(settings: Settings, keyring: KeyRing) -> None:
    """Put the public keys of the ledger's heads, the one in use first, into their file; others there stay."""
    file = settings.data_folder / HEAD_KEYS_FILE
    before = file.read_text(encoding="utf-8", errors="replace").split() if file.exists() else []
    now = [key.text for key in keyring.head_keys]
    text = "".join(f"{key}\n" for key in (*now, *(one for one in before if one not in now)))
    if text.split() != before:
        write_whole(settings.data_folder, HEAD_KEYS_FILE, text.encode())


def _readable(pem: bytes) -> list[x509.Certificate]:
    try:
        return x509.load_pem_x509_certificates(pem)
    except ValueError:
        return []
