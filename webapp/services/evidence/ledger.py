"""The one place that appends a change made on the server to the ledger.

Rules: a change is canonical JSON of exactly the fields below; its leaf hashes those bytes;
it is written in the same transaction as what it tells of, so that neither can be there without the other.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from typing_extensions import TypedDict

from webapp.domain.evidence import tree
from webapp.domain.evidence.consistency import consistency_proof, is_consistent
from webapp.domain.plain.declared import Fault, Shape, exactly
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.record.ledger_head import LedgerHead
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow


@exactly
class ProvenHead(TypedDict):
    """Entries of the ledger and the root over them, lower-case hex."""

    size: int
    root: str


@exactly
class Grown(TypedDict):
    """Two heads of one ledger and the hashes (hex) that prove that it only grew from one to the other."""

    earlier: ProvenHead
    head: ProvenHead
    proof: list[str]


GROWN: Shape[Grown] = Shape(Grown)
CHANGE_DOMAIN = "zerokeep/change/1"
SERVER = "server"
RESTORED = "ledger.restored"
A_STRETCH = 500


def change(
    store: Store,
    type: str,  # noqa: A002 - the field's name in the data
    by: str,
    subject: str,
    setup: str | None,
    data: Mapping[str, object],
    now: datetime,
) -> int:
    """Append one change inside the caller's transaction; its position in the ledger, counted from 0.

    `by` is a person's id or SERVER. Raises JsonError for data that has no canonical JSON.
    """
    at_utc = utc_text(now)
    envelope = {"domain": CHANGE_DOMAIN, "type": type, "at_utc": at_utc, "by": by, "subject": subject}
    text = canonical_text({**envelope, "setup": setup, "data": data})
    return store.ledger.append_change(text, kind=type, by=by, subject=subject, setup=setup, at_utc=at_utc)


def said_by(text: str) -> Mapping[str, object]:
    """The data of a change; nothing for one that cannot be read, which the walk along the ledger names."""
    try:
        data = json.loads(text)["data"]
    except (ValueError, LookupError, TypeError):
        return {}
    return data if isinstance(data, dict) else {}


def entries(store: Store, kinds: Sequence[str], after: int = -1) -> Iterator[ChangeRow]:
    """Changes of these kinds behind a place, in the order of the ledger, read in stretches.
    Inside a transaction.
    """
    while found := store.ledger.changes_of(kinds, after, A_STRETCH):
        yield from found
        after = found[-1]["position"]


def entries_in_pieces(store: Store, kinds: Sequence[str]) -> Iterator[ChangeRow]:
    """All changes of these kinds as `entries` gives them, each stretch in a short transaction of its own."""
    after: int | None = -1
    while after is not None:
        with store.reading():
            found = store.ledger.changes_of(kinds, after, A_STRETCH)
        yield from found
        after = found[-1]["position"] if found else None


def on_ledger(value: Any) -> Any:
    """A plain value with every number that would need an exponent as a plain decimal text:
    the ledger has one spelling.
    """
    if isinstance(value, Mapping):
        return {name: on_ledger(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [on_ledger(item) for item in value]
    return f"{Decimal(repr(value)):f}" if isinstance(value, float) and "e" in repr(value) else value


def keep_head(store: Store) -> None:
    """Keep the head of now apart from the database, outside any transaction, as far as the disk lets it.

    A kept head that this ledger does not have stays where it is:
    it says that the ledger is not the one of then.
    """
    # What was written stays true without it, and the next one tries again.
    with suppress(OSError), store.reading():
        found = head(store)
        store.kept_head.write(found["size"], found["root"], lambda before: has_head(store, *before))


def has_head(store: Store, size: int, root: str) -> bool:
    """Whether the ledger has, or had, this head: a size and a root (lower-case hex). Inside a transaction."""
    if size > store.ledger.size():
        return False
    try:
        return store.ledger.root(size).hex() == root
    except tree.TreeError:
        return False


def grown_since(store: Store, size: int) -> Grown:
    """Head of an earlier size, head of now and the proof between them.
    Inside a transaction. Raises TreeError.
    """
    now = head(store)
    proof = consistency_proof(size, now["size"], store.ledger.hash_at)
    return {
        "earlier": {"size": size, "root": store.ledger.root(size).hex()},
        "head": {"size": now["size"], "root": now["root"]},
        "proof": [one.hex() for one in proof],
    }


def only_grew(value: object) -> bool:
    """Whether a value as `grown_since` gives it shows that the later ledger begins with the earlier one."""
    found = GROWN.read(value)
    if isinstance(found, Fault):
        return False
    try:
        roots = [bytes.fromhex(found[name]["root"]) for name in ("earlier", "head")]
        proof = [bytes.fromhex(one) for one in found["proof"]]
    except ValueError:
        return False
    return is_consistent(found["earlier"]["size"], roots[0], found["head"]["size"], roots[1], proof)


def head(store: Store) -> LedgerHead:
    """Size and root (lower-case hex) of the ledger, inside the caller's transaction."""
    size = store.ledger.size()
    return {"size": size, "root": store.ledger.root(size).hex()}
