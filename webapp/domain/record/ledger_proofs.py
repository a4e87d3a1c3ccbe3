"""Where a record's events and decisions stand in the ledger, so that whoever holds the file alone can tell.

Rules:
- one signed head of the ledger (a note, as text), and for each event and each decision its place and the way
  from it up to the head's root (RFC 9162 section 2.1.3), lowest hash first;
- entries of one setup lie close together and share most of their ways: each hash stands once, ways name them
  by number;
- the key in it says which key signed; whether that is the shop's is for whoever knows the shop's keys.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cache
from typing import Annotated, Literal

from pydantic import Field
from typing_extensions import TypedDict

from webapp.domain.evidence import tree
from webapp.domain.plain.declared import Shape, exactly

LEDGER_FILE = "ledger.json"
LEDGER_DOMAIN: Literal["zerokeep/ledger-proofs/1"] = "zerokeep/ledger-proofs/1"


@exactly
class ProvenPlace(TypedDict):
    """An entry's place, counted from 0, and its way to the root: numbers of `hashes`, from 0."""

    index: int
    way: list[Annotated[int, Field(ge=0)]]


@exactly
class LedgerProofs(TypedDict):
    """What stands in ledger.json. `events` and `decisions` are in the order of the record's own files."""

    domain: Literal["zerokeep/ledger-proofs/1"]
    note: str
    key: str
    hashes: list[str]
    events: list[ProvenPlace]
    decisions: list[ProvenPlace]


LEDGER_PROOFS: Shape[LedgerProofs] = Shape(LedgerProofs)


def proofs_of(
    events: Iterable[int], decisions: Iterable[int], size: int, hash_at: tree.HashAt
) -> LedgerProofs:
    """The places of events and decisions in the ledger of `size` entries, with their ways; note and key
    still empty.

    Raises TreeError for a place outside the tree and for a hash that is not stored.
    """
    at = cache(hash_at)
    numbers: dict[str, int] = {}

    def proven(index: int) -> ProvenPlace:
        way = [one.hex() for one in tree.inclusion_proof(index, size, at)]
        return {"index": index, "way": [numbers.setdefault(one, len(numbers)) for one in way]}

    places = [proven(index) for index in events], [proven(index) for index in decisions]
    return {
        "domain": LEDGER_DOMAIN,
        "note": "",
        "key": "",
        "hashes": list(numbers),
        "events": places[0],
        "decisions": places[1],
    }


def first_astray(
    texts: Sequence[str], places: Sequence[ProvenPlace], hashes: Sequence[str], size: int, root: str
) -> int | None:
    """Which of these entries, counted from 0, does not lead to the root (hex) over `size` leaves; None: all
    do.

    There has to be one place for each text.
    """
    leads = _leads_to(hashes, size, root)
    for number, (text, place) in enumerate(zip(texts, places, strict=True)):
        if not leads(text, place):
            return number
    return None


def _leads_to(hashes: Sequence[str], size: int, root: str) -> Callable[[str, ProvenPlace], bool]:
    def leads(text: str, place: ProvenPlace) -> bool:
        try:
            way = [bytes.fromhex(hashes[number]) for number in place["way"]]
            leaf = tree.leaf_hash(text.encode())
            return tree.root_from_inclusion(leaf, place["index"], size, way).hex() == root
        except (tree.TreeError, ValueError, IndexError):
            return False

    return leads
