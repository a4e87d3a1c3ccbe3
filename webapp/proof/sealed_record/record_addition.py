"""What was added to a record after it was sealed, judged from its own text and the record's bytes alone.

Rules: the text is the ledger's entry, then its proof (C2SP tlog-proof) under a signed head. The head's
signature has to fit a key of the shop's ledger, the entry has to lead from its place to that head's root
(RFC 9162 section 2.1.3.2), and what it says has to name just this file. Without a key nothing can be said of
it, and the line says that.
"""

from __future__ import annotations

from base64 import b64decode
from collections.abc import Sequence
from hashlib import sha256
from typing import Any

from webapp.domain.evidence import tree
from webapp.domain.evidence.checkpoint import CheckpointRefused, read_checkpoint
from webapp.domain.plain.json_strict import JsonError, read_json
from webapp.proof.errors import NoteRefused
from webapp.proof.ledger.signed_note import NoteVerifier, read_note
from webapp.proof.report import Line, failed, held, not_looked_at, refusal_words

PROOF_HEADER = "c2sp.org/tlog-proof@v1"
ADDED = "record.added_to"
ASKED = "record.addition"


def check_addition(text: str, pdf: bytes, keys: Sequence[NoteVerifier] | None) -> Line:
    """Whether the shop added this to just this record; `keys` are those of its ledger, None where nobody gave
    any. Never raises for what the text holds.
    """
    parts = text.split("\n\n", 2)
    if len(parts) != 3:
        return failed(ASKED, "malformed")
    entry, proof, note = parts
    said = _said(entry)
    if said is None:
        return failed(ASKED, "malformed")
    if said["data"]["record"] != sha256(pdf).hexdigest():
        return failed(ASKED, "other_record", record=said["data"]["record"])
    if keys is None:
        return not_looked_at(ASKED, "no_key")
    try:
        head = read_checkpoint(read_note(note, keys))
        place, way = _read_proof(proof)
        leads = (
            tree.root_from_inclusion(tree.leaf_hash(entry.encode()), place, head.size, way).hex() == head.root
        )
    except (NoteRefused, CheckpointRefused) as refused:
        return failed(ASKED, "refused", refusal=refusal_words(refused))
    except (tree.TreeError, ValueError):
        return failed(ASKED, "malformed")
    if not leads:
        return failed(ASKED, "astray", index=place)
    data = said["data"]
    told = {"number": data["number"], "by": said["by"], "at_utc": said["at_utc"], "text": data["text"]}
    return held(ASKED, **told, place=place + 1, size=head.size)


def _said(entry: str) -> Any | None:
    """What an entry says, where it is an addition."""
    try:
        value = read_json(entry.encode())
        data = value["data"]
        texts = (value["by"], value["at_utc"], data["record"], data["text"])
        fits = (
            value["type"] == ADDED and type(data["number"]) is int and {type(one) for one in texts} == {str}
        )
    except (JsonError, UnicodeError, TypeError, LookupError):
        return None
    return value if fits else None


def _read_proof(proof: str) -> tuple[int, list[bytes]]:
    """The place and the way in a proof. Raises ValueError."""
    header, index, *way = proof.split("\n")
    if header != PROOF_HEADER or not index.startswith("index "):
        raise ValueError(proof[:40])
    return int(index.removeprefix("index ")), [b64decode(one, validate=True) for one in way]
