"""The record of a setup: the bundle that goes into the PDF, and the sealed PDF that is kept.

Rules:
- a record can be sealed once the setup is signed off, and once; rendering and sealing happen after the
  sign-off is committed, so that a failed seal leaves the sign-off and can be tried again;
- the file is written under its own hash (temporary name, flush, rename,
  flush of the folder) before its row is; when the row cannot be written, the file goes again, but never one
  that a row names: it may be there though the answer to its commit was lost;
- a record that is sealed carries a signed head of the ledger and the places of its events and decisions
  under it, so that it can be checked by whoever holds the file alone; where no head may be signed, nothing
  is sealed;
- the hash of the whole file is on the ledger (record.sealed),
  because a seal inside the file does not cover every bit.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.record.bundle import (
    DeviceInRecord,
    PersonInRecord,
    RecordBundle,
    RecordFile,
)
from webapp.domain.record.edition import PAGES_EDITION
from webapp.domain.record.ledger_head import RECORD_DOMAIN
from webapp.domain.record.ledger_proofs import proofs_of
from webapp.services.errors import NoSuchRecord, NoSuchSetup, NotSignedOff, RecordDisposed
from webapp.services.evidence.ledger import SERVER, change, head, keep_head
from webapp.services.evidence.signed_heads import sign_that
from webapp.services.evidence.tombstones import tombstone
from webapp.services.setups import pacing, stored_setups
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.proof.ledger.signed_note import NoteSigner
    from webapp.store import Store
    from webapp.store.rows import ChangeRow, RecordRow

Render = Callable[[RecordBundle], bytes]
# Gets the time that stands in the record: the seal has to say the same one.
Seal = Callable[[bytes, str], bytes]

MOST_UNSEALED = 500

# One record at a time: rendering fills memory, and two at once would seal one setup twice.
_ONE_AT_A_TIME = threading.Lock()


def bundle(store: Store, setup_id: str, now: datetime, renderer: Mapping[str, str]) -> RecordBundle:
    """The evidence of one setup as of now. `renderer` names the programs and versions that draw the page.

    Raises NoSuchSetup.
    """
    with store.reading():
        rows = store.events.events_of(setup_id)
        if not rows:
            raise NoSuchSetup(setup=setup_id)
        decided = _decisions(store, setup_id)
        state = stored_setups.fold_stored(store, setup_id)
        sheet_row = store.sheets.sheet(rows[0]["sheet"])
        shop = store.shop.item("shop", "shop") or {}
        record: RecordFile = {
            "domain": RECORD_DOMAIN,
            "edition": PAGES_EDITION,
            "setup": setup_id,
            "shop": shop.get("name", ""),
            "people": _people(store, state),
            "sealed_at_utc": utc_text(now),
            "ledger": head(store),
            "renderer": dict(renderer),
            "step_pace": pacing.setup_pace(store, setup_id),
        }
        return RecordBundle(
            sheet_text=sheet_row["text"] if sheet_row else "",
            events=tuple(row["jws"] for row in rows),
            devices=tuple(_device(store, device) for device in sorted({row["device"] for row in rows})),
            decisions=tuple(row["text"] for row in decided),
            record=record,
        )


def proven_bundle(
    store: Store, setup_id: str, signer: NoteSigner, now: datetime, renderer: Mapping[str, str]
) -> RecordBundle:
    """The same with the places of its entries under a signed head. Raises NoSuchSetup, LedgerWentBack,
    OSError.
    """
    with store.reading():
        found = bundle(store, setup_id, now, renderer)
        now_head = head(store)
        proofs = proofs_of(
            [row["position"] for row in store.events.events_of(setup_id)],
            [row["position"] for row in _decisions(store, setup_id)],
            now_head["size"],
            store.ledger.hash_at,
        )
    proofs["note"], proofs["key"] = sign_that(store, signer, now_head), signer.verifier.text
    return replace(found, ledger=proofs)


def unsigned_pdf(
    store: Store, setup_id: str, render_unsigned: Render, now: datetime, renderer: Mapping[str, str]
) -> bytes:
    """A PDF that is plainly marked as not signed off, of any setup; nothing is kept. Raises NoSuchSetup."""
    return render_unsigned(bundle(store, setup_id, now, renderer))


def sealed_pdf(
    store: Store,
    setup_id: str,
    render: Render,
    seal: Seal,
    signer: NoteSigner,
    now: datetime,
    renderer: Mapping[str, str],
) -> tuple[str, bytes]:
    """SHA-256 and bytes of the sealed record, made now if there is none yet.

    Raises NoSuchSetup, NotSignedOff, LedgerWentBack, OSError.
    """
    with _ONE_AT_A_TIME:
        with store.reading():
            row, record = store.setups.setup(setup_id), store.records.record(setup_id)
        if row is None:
            raise NoSuchSetup(setup=setup_id)
        if row["status"] != "signed_off":
            raise NotSignedOff
        if record is not None:
            return _read(store, record)
        pdf = seal(render(proven_bundle(store, setup_id, signer, now, renderer)), utc_text(now))
        return _keep(store, setup_id, pdf, now), pdf


def stored_pdf(store: Store, setup_id: str) -> tuple[str, bytes]:
    """SHA-256 and bytes of the record that was sealed.
    Raises NoSuchRecord, RecordDisposed, DatabaseDamaged.
    """
    with store.reading():
        record = store.records.record(setup_id)
    if record is None:
        raise NoSuchRecord(setup=setup_id)
    return _read(store, record)


def must_be_kept(store: Store, record: RecordRow) -> None:
    """Raise RecordDisposed for a record that has a tombstone. Inside a transaction."""
    said = tombstone(store, record)
    if said is not None:
        raise RecordDisposed(setup=record["setup"], day=said["at_utc"][:10])


def _read(store: Store, record: RecordRow) -> tuple[str, bytes]:
    with store.reading():
        must_be_kept(store, record)
    return record["sha256"], store.records.files.read(record["sha256"])


def unsealed(store: Store) -> list[str]:
    """Setups that are signed off and have no sealed record yet, to be tried again:
    those that wait longest.
    """
    with store.reading():
        return store.setups.to_seal(MOST_UNSEALED)


def count_unsealed(store: Store) -> int:
    """How many setups are signed off and have no sealed record yet."""
    with store.reading():
        return store.setups.count_to_seal()


def _keep(store: Store, setup_id: str, pdf: bytes, now: datetime) -> str:
    digest = store.records.files.write(pdf)
    try:
        with store.writing():
            store.records.add(setup_id, digest, len(pdf), utc_text(now))
            data = {"sha256": digest, "bytes": len(pdf)}
            change(store, "record.sealed", SERVER, setup_id, setup_id, data, now)
    except BaseException:
        _take_away(store, digest)
        raise
    keep_head(store)
    return digest


def _take_away(store: Store, digest: str) -> None:
    """Take a file away again that no row names; it stays where nobody can say whether one does."""
    with suppress(Exception), store.writing():
        if store.records.by_hash(digest) is None:
            store.records.files.remove(digest)


def _people(store: Store, state: Folded) -> list[PersonInRecord]:
    """Everybody whom the record names: who ran it, signed it, stood beside, answered, decided."""
    named = {state["person"], *(signature["person"] for signature in state["signatures"])}
    named |= {question["answer"]["by"] for question in state["questions"] if question["answer"]}
    named |= {beside["who"] for beside in state["beside"]}
    named |= {decided["by"] for decided in (state["sign_off"], state["not_accepted"]) if decided}
    people = [store.people.person(person) for person in sorted(one for one in named if one)]
    return [{"id": one["id"], "name": one["name"], "roles": one["roles"]} for one in people if one]


def _device(store: Store, device_id: str) -> DeviceInRecord:
    row = store.devices.device(device_id)
    return {"id": device_id, "name": row["name"] if row else None, "jwk": row["jwk"] if row else None}


def _decisions(store: Store, setup_id: str) -> list[ChangeRow]:
    return [row for row in store.ledger.changes_of_setup(setup_id) if row["type"] != "record.sealed"]
