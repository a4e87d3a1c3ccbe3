"""Whether a record's events and decisions stand in the ledger, told from the record alone.

Rules:
- the head in the record is a signed note; it has to be the head that the pages print, and its signature has
  to fit;
- whose key signed it is a line of its own: under keys that are given it has to be one of them, without any
  it is the sealer's word, and the report says so;
- each event and each decision has to lead from its place up to the root of that head (RFC 9162 section
  2.1.3.2);
- a record of an edition from before every record carried it may have none of it: both lines say so, and
  nothing fails for it. From that edition on a record without it was robbed of it, and fails.
"""

from __future__ import annotations

from collections.abc import Sequence

from webapp.domain.evidence.checkpoint import Checkpoint, CheckpointRefused, read_checkpoint
from webapp.domain.record.bundle import RecordBundle
from webapp.domain.record.edition import PLACES_SINCE, edition_of
from webapp.domain.record.ledger_proofs import LedgerProofs, ProvenPlace, first_astray
from webapp.proof.errors import NoteRefused
from webapp.proof.ledger.signed_note import NoteVerifier, read_note
from webapp.proof.report import Line, failed, held, not_looked_at, refusal_words

SIGN_OFF = '"type":"setup.signed_off"'


def check_ledger(bundle: RecordBundle, keys: Sequence[NoteVerifier] | None) -> list[Line]:
    """One line on the head and one on the places; `keys` are the shop's, None where nobody gave any."""
    proofs = bundle.ledger
    if proofs is None:
        judged, why = (failed, "left_out") if _has_to_carry(bundle) else (not_looked_at, "from_before")
        return [judged(f"record.{name}", why) for name in ("head", "places")]
    try:
        signer = NoteVerifier.from_text(proofs["key"])
        head = read_checkpoint(read_note(proofs["note"], [signer]))
    except (NoteRefused, CheckpointRefused) as refused:
        line = failed("record.head", "refused", refusal=refusal_words(refused))
        return [line, failed("record.places", "not_asked")]
    return [_head_line(bundle, head, signer, keys), _places_line(bundle, proofs, head)]


def _has_to_carry(bundle: RecordBundle) -> bool:
    """Whether a record's edition is one in which every record carries its places, or is none at all."""
    edition = edition_of(bundle.record)
    return edition is None or edition >= PLACES_SINCE


def _head_line(
    bundle: RecordBundle, head: Checkpoint, signer: NoteVerifier, keys: Sequence[NoteVerifier] | None
) -> Line:
    if bundle.record.get("ledger") != {"size": head.size, "root": head.root} or head.origin != signer.name:
        return failed("record.head", "differs")
    fields: dict[str, str | int] = {"size": head.size, "name": head.origin, "key": signer.text}
    if keys is None:
        return not_looked_at("record.head", "sealers_word", **fields)
    return held("record.head", **fields) if signer in keys else failed("record.head", "not_ours", **fields)


def _places_line(bundle: RecordBundle, proofs: LedgerProofs, head: Checkpoint) -> Line:
    told = (("event", bundle.events, proofs["events"]), ("decision", bundle.decisions, proofs["decisions"]))
    if any(len(texts) != len(places) for _, texts, places in told):
        return failed("record.places", "count")
    for kind, texts, places in told:
        astray = first_astray(texts, places, proofs["hashes"], head.size, head.root)
        if astray is not None:
            return failed("record.places", f"astray_{kind}", place=astray + 1, index=places[astray]["index"])
    return held(
        "record.places",
        events=len(bundle.events),
        decisions=len(bundle.decisions),
        size=head.size,
        sign_off=_sign_off(bundle, proofs["decisions"]),
    )


def _sign_off(bundle: RecordBundle, places: Sequence[ProvenPlace]) -> str:
    """The places of the sign-offs, counted from 1 as people count."""
    found = [
        str(place["index"] + 1)
        for text, place in zip(bundle.decisions, places, strict=True)
        if SIGN_OFF in text
    ]
    return ", ".join(found) or "–"
