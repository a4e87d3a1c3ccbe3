"""What was found after a record was sealed: an addition that names the record, and never a change of it.

Rules (ISO/IEC 17025:2017 7.5.2, from memory):
- the record stays the bytes that were sealed; an addition is an entry of the ledger that names the SHA-256 of
  those bytes, with a number, who, when and what;
- it is a lead's, with the passphrase again, as a sign-off is; whoever ran the setup may not be the one who
  adds, for the same reason;
- it is sealed by the ledger: it is handed out with its proof under a signed head (C2SP tlog-proof).
"""

from __future__ import annotations

import json
from base64 import b64encode
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from webapp.domain.evidence import tree
from webapp.domain.evidence.checkpoint import read_checkpoint
from webapp.services.errors import NoSuchRecord, OwnSetup
from webapp.services.evidence.ledger import change
from webapp.services.evidence.signed_heads import sign_head
from webapp.services.people.access import DESK, check_secret, must_be_lead
from webapp.services.people.errors import SignInRefused
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.proof.ledger.signed_note import NoteSigner
    from webapp.store import Store

ADDED = "record.added_to"


@dataclass(frozen=True, slots=True)
class Addition:
    """One addition: its number from 1, the record that it names, who wrote what and when, its place and its
    entry.
    """

    number: int
    record: str
    by: str
    at_utc: str
    text: str
    position: int
    entry: str


class Found(NamedTuple):
    """A setup and the additions to its record."""

    setup: str | None
    additions: tuple[Addition, ...]


NONE = Found(None, ())


def add(
    store: Store,
    setup_id: str,
    by: str,
    passphrase: str,
    text: str,
    now: datetime,
    source: str = DESK,
) -> int:
    """Add what was found to the sealed record of a setup; the addition's number.

    Raises ReasonMissing; SignInRefused, TooManyTries, StoppedAfterTries for the passphrase; RoleMissing,
    NoSuchRecord, OwnSetup.
    """
    text = reason_text(text)
    if check_secret(store, by, passphrase, now, source) is None:
        raise SignInRefused
    with store.writing():
        must_be_lead(store, by)
        record, row = store.records.record(setup_id), store.setups.setup(setup_id)
        if record is None or row is None:
            raise NoSuchRecord(setup=setup_id)
        if row["person"] == by:
            raise OwnSetup
        number = len(_read(store, setup_id)) + 1
        data = {"record": record["sha256"], "number": number, "text": text}
        change(store, ADDED, by, setup_id, None, data, now)
    return number


def additions(store: Store, setup_id: str) -> list[Addition]:
    """All additions to the record of a setup, the first one first."""
    with store.reading():
        return _read(store, setup_id)


def additions_to(store: Store, sha256_hex: str) -> Found:
    """The setup whose record has this hash, and all additions to it; NONE where no such record is known."""
    with store.reading():
        record = store.records.by_hash(sha256_hex)
        return Found(record["setup"], tuple(_read(store, record["setup"]))) if record else NONE


def proven(store: Store, signer: NoteSigner, setup_id: str, number: int) -> str | None:
    """An addition as a text for somebody outside: the entry, then its proof under a signed head; None: no
    such one.

    Raises LedgerWentBack, OSError.
    """
    found = next((one for one in additions(store, setup_id) if one.number == number), None)
    if found is None:
        return None
    note = sign_head(store, signer)
    size = read_checkpoint(note.rpartition("\n\n")[0] + "\n").size
    with store.reading():
        way = tree.inclusion_proof(found.position, size, store.ledger.hash_at)
    hashes = "".join(f"{b64encode(one).decode()}\n" for one in way)
    return f"{found.entry}\n\nc2sp.org/tlog-proof@v1\nindex {found.position}\n{hashes}\n{note}"


def _read(store: Store, setup_id: str) -> list[Addition]:
    found = []
    for row in store.ledger.changes_about_record(ADDED, setup_id):
        data = json.loads(row["text"])["data"]
        found.append(
            Addition(
                data["number"],
                data["record"],
                row["by"],
                row["at_utc"],
                data["text"],
                row["position"],
                row["text"],
            )
        )
    return found
