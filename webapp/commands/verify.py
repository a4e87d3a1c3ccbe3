"""`zerokeep verify record.pdf`:
say what holds of a sealed record, trusting nobody but the certificate given.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from cryptography import x509

from webapp import record
from webapp.data_folder import CERTIFICATES_FILE, HEAD_KEYS_FILE
from webapp.proof.errors import NoteRefused
from webapp.proof.record_verify import verify_record
from webapp.proof.signed_note import NoteVerifier
from webapp.renderer import RENDERER
from webapp.settings import Settings
from webapp.shop_folder import own_hash
from webapp.store import Store

HOLDS, FAILS, CANNOT_ASK = 0, 1, 2


def verify(
    settings: Settings, path: Path, certificates: list[Path], ledger_keys: list[Path], *, as_json: bool
) -> int:
    """Print the report. The certificates and keys given count; without any certificate, those of the data
    folder.
    """
    try:
        pdf = path.read_bytes()
    except OSError as error:
        return _cannot(f"Cannot read {path}: {error.strerror}. Give the path of a record.")
    files = certificates or [settings.data_folder / CERTIFICATES_FILE]
    trusted: list[x509.Certificate] = []
    for file in files:
        try:
            trusted += x509.load_pem_x509_certificates(file.read_bytes())
        except (OSError, ValueError) as error:
            return _cannot(
                f"Cannot read the seal's certificate {file}: {error}. Ask the shop for its file "
                f"{CERTIFICATES_FILE} "
                "and give it with --certificate."
            )
    known = None if certificates else _known(settings, pdf)
    try:
        keys = _head_keys(ledger_keys or ([] if certificates else [settings.data_folder / HEAD_KEYS_FILE]))
    except (OSError, UnicodeError, NoteRefused) as error:
        return _cannot(
            f"Cannot read the keys of the ledger: {error}. Ask the shop for its {HEAD_KEYS_FILE} and give "
            "it with --ledger-key."
        )
    report = verify_record(pdf, trusted, record.render, known, RENDERER, keys)
    if as_json:
        print(json.dumps({"file": str(path), **report.as_dict()}, ensure_ascii=False, indent=1))
    else:
        print(f"{path}: {report.as_text()}", end="")
    return HOLDS if report.holds else FAILS


def _head_keys(files: list[Path]) -> list[NoteVerifier] | None:
    """The keys in these files, one a line; None without a file. Raises OSError, UnicodeError, NoteRefused."""
    if not files:
        return None
    lines = [line for file in files for line in file.read_text(encoding="utf-8").splitlines() if line]
    return [NoteVerifier.from_text(line) for line in lines]


def _known(settings: Settings, pdf: bytes) -> str | None:
    """What the ledger of the data folder says about these bytes (see own_hash), None where there is no
    database.
    """
    if not Store.is_at(settings.database):
        return None
    store = Store.open(settings.database, settings.files_folder)
    try:
        return own_hash(store, pdf)
    finally:
        store.close()


def _cannot(why: str) -> int:
    print(why, file=sys.stderr)
    return CANNOT_ASK
