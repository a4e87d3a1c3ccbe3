"""What a tablet could not send, brought to the server in a file that the tablet wrote.

Rules:
- the file holds the same signed texts, and the same sealed PINs, as an upload; they are taken as one is, with
  the same checks, so a file can be brought twice, late, or beside what the tablet sends itself;
- who carried it decides about nothing. That it was brought is on the ledger before anything of it is taken
  in, and what became of it after: where a server stops in between, the first stands there without the second;
- a file that no tablet in use here has signed is refused whole: nothing of it is kept;
- the tablet keeps its events until it reaches the server itself and has a receipt for each.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING, Annotated, Literal, TypeVar

from pydantic import Field
from typing_extensions import TypedDict

from webapp.domain.plain.declared import Fault, Shape, exactly
from webapp.domain.plain.json_strict import JsonError, read_json
from webapp.services.evidence.ledger import change
from webapp.services.intake import intake, tablets_in_use
from webapp.services.intake.errors import BatchMalformed, FileOfNoTablet, WaitingFileUnreadable
from webapp.services.intake.reading import MOST_EVENTS, Part, read_batch
from webapp.services.people.access import must_be_lead

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.services.intake.sorting import Receipt
    from webapp.store import Store

LARGEST_BYTES = 16 * 1024 * 1024
MOST_IN_A_FILE = 20_000
BROUGHT = "tablet.file_brought"
TAKEN = "tablet.file_taken"
SOURCE = "file"
One = TypeVar("One")


@exactly
class WaitingFile(TypedDict):
    """The file as the tablet writes it; `device` says which tablet, and proves nothing."""

    domain: Literal["zerokeep/waiting/1"]
    device: Annotated[str, Field(max_length=64)]
    events: Annotated[list[object], Field(min_length=1, max_length=MOST_IN_A_FILE)]


WAITING_FILE: Shape[WaitingFile] = Shape(WaitingFile)


@dataclass(frozen=True)
class Reason:
    """Why events were not taken, how many of them, and what the sentence says of the first."""

    code: str
    fields: dict[str, str | int]
    count: int


@dataclass(frozen=True)
class Brought:
    """What became of a file: its hash (hex), and how many of its events had which outcome."""

    file_sha256: str
    accepted: int
    already_had: int
    kept_out_of_order: int
    refused: int
    reasons: list[Reason]


def take_file(store: Store, keyring: KeyRing, content: bytes, by: str, now: datetime) -> Brought:
    """Take in what waits in a file; what became of it.

    Raises NotAllowed where `by` is no lead, WaitingFileUnreadable and FileOfNoTablet; nothing is stored then.
    """
    with store.reading():
        must_be_lead(store, by)
    parts = _read(content)
    if not tablets_in_use.is_known(store, (part.jws for part in parts)):
        raise FileOfNoTablet
    file_sha256 = sha256(content).hexdigest()
    _note(store, BROUGHT, file_sha256, {"events": len(parts)}, by, now)
    receipts = [
        receipt for some in _uploads(parts) for receipt in intake.take_in(store, keyring, some, now, SOURCE)
    ]
    outcomes = Counter(receipt["outcome"] for receipt in receipts)
    brought = Brought(
        file_sha256=file_sha256,
        accepted=outcomes["accepted"],
        already_had=outcomes["already_had"],
        kept_out_of_order=outcomes["kept_out_of_order"],
        refused=outcomes["refused"],
        reasons=_reasons(receipts),
    )
    _note(store, TAKEN, file_sha256, {"outcomes": dict(sorted(outcomes.items()))}, by, now)
    return brought


def _note(store: Store, kind: str, file_sha256: str, data: dict[str, object], by: str, now: datetime) -> None:
    with store.writing():
        change(store, kind, by, file_sha256, None, data, now)


def _reasons(receipts: list[Receipt]) -> list[Reason]:
    first: dict[str, dict[str, str | int]] = {}
    counts: Counter[str] = Counter()
    for receipt in receipts:
        if receipt["outcome"] == "refused" and receipt["code"] is not None:
            first.setdefault(receipt["code"], receipt["fields"])
            counts[receipt["code"]] += 1
    return [Reason(code, first[code], count) for code, count in counts.most_common()]


def _read(content: bytes) -> list[Part]:
    try:
        found = WAITING_FILE.read(read_json(content, LARGEST_BYTES))
        if isinstance(found, Fault):
            raise WaitingFileUnreadable
        return [part for some in _uploads(found["events"]) for part in read_batch(some)]
    except (JsonError, BatchMalformed):
        raise WaitingFileUnreadable from None


def _uploads(events: list[One]) -> Iterator[list[One]]:
    """As many at a time as an upload may have."""
    return (events[start : start + MOST_EVENTS] for start in range(0, len(events), MOST_EVENTS))
