"""`zerokeep verify record.pdf`:
say what holds of a sealed record, trusting nobody but the certificate given.

Printing the pages again takes longer than all the rest: the press' own process gets ready while this one
reads in what judges the rest, and a line says first what holds without it; or it is left out with
`--without-pages`, and then the report says so. Most of what is left is loading the library that writes and
judges seals, which loads a client for time stamps that is never asked and that it cannot do without. A second
writer of our own for the same bytes would be faster and would be one more thing to trust: the judge stays the
library.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path

from cryptography import x509

from webapp.data_folder import CERTIFICATES_FILE, HEAD_KEYS_FILE
from webapp.proof.errors import NoteRefused
from webapp.proof.ledger.signed_note import NoteVerifier
from webapp.proof.report import Report
from webapp.proof.sealed_record.record_addition import check_addition
from webapp.proof.sealed_record.record_verify import Render, verify_record
from webapp.renderer import RENDERER
from webapp.settings import Settings

HOLDS, FAILS, CANNOT_ASK = 0, 1, 2


def verify(
    settings: Settings,
    path: Path,
    certificates: list[Path],
    ledger_keys: list[Path],
    *,
    additions: Sequence[Path] = (),
    render: Render | None,
    as_json: bool,
) -> int:
    """Print the report. The certificates and keys given count; without any certificate, those of the data
    folder. `render` prints the pages again; None leaves that out.
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
    try:
        added = [file.read_text(encoding="utf-8") for file in additions]
    except (OSError, UnicodeError) as error:
        return _cannot(
            f"Cannot read the addition: {error}. Give the path of a text that the shop handed out."
        )
    hear = None if render is None or as_json else _tell_first
    report = verify_record(pdf, trusted, render, known, RENDERER, keys, hear)
    report = Report((*report.lines, *(check_addition(text, pdf, keys) for text in added)))
    if as_json:
        print(json.dumps({"file": str(path), **report.as_dict()}, ensure_ascii=False, indent=1))
    else:
        print(f"{path}: {report.as_text()}", end="")
    return HOLDS if report.holds else FAILS


def _tell_first(report: Report) -> None:
    """Say what holds before the pages are printed again: the answer that most ask for, in a third of the
    time.
    """
    how = "hold" if report.holds else "do NOT hold"
    print(f"Seal, events and ledger {how}. Printing the pages again …", file=sys.stderr, flush=True)


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
    if isinstance(settings.database, Path) and not settings.database.exists():
        return None
    from webapp.shop_folder import own_hash  # noqa: PLC0415 - a file is verified where no shop is, too
    from webapp.store import Store  # noqa: PLC0415

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
