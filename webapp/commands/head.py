"""`zerokeep head`: the ledger's head of now, to print or mail;
and whether the ledger still has a head that was kept.

Rules: a head is a number of entries and the root over them (RFC 6962); a ledger that only grew has every
earlier one. What is compared is the tree as it is stored: whether it still fits its entries is the audit's to
say.
"""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from pathlib import Path

from webapp.commands.opening import has_shop, looked_into, opened
from webapp.data_folder import HEAD_KEYS_FILE
from webapp.domain.evidence.checkpoint import CheckpointRefused
from webapp.domain.evidence.tree import TreeError
from webapp.domain.record.ledger_head import LedgerHead
from webapp.proof.errors import NoteRefused
from webapp.proof.ledger.signed_note import NoteVerifier
from webapp.services.audit import kept_heads
from webapp.services.errors import HeadUnreadable
from webapp.services.evidence import epochs, ledger, signed_heads
from webapp.settings import Settings
from webapp.words import say

HAS_IT, HAS_IT_NOT, CANNOT_ASK = 0, 1, 2
HEX_DIGITS = 64


def head(settings: Settings, kept: tuple[str, str] | None, *, as_json: bool) -> int:
    """Print the head of now; with `kept`, a size and a root as typed, say whether the ledger has that one."""
    read = _read(*kept) if kept else None
    if kept and read is None:
        print(
            (
                f"A head is a number of entries and a root of {HEX_DIGITS} hexadecimal digits. "
                f"Typed: {' '.join(kept)}"
            ),
            file=sys.stderr,
        )
        return CANNOT_ASK
    with looked_into(settings) as store:
        if store is None:
            return CANNOT_ASK
        with store.reading():
            now = ledger.head(store)
            held = read is None or ledger.has_head(store, *read)
    if as_json:
        compared = {"compared": {"size": read[0], "root": read[1]}, "holds": held} if read else {}
        print(json.dumps({"head": now, **compared}))
    else:
        print(_sentence(read[0], now, held=held) if read else f"{now['size']} {now['root']}")
    return HAS_IT if held else HAS_IT_NOT


def restored(settings: Settings, reason: str) -> int:
    """Take the ledger as it is for the right one after a backup was brought back; the reason stands on it."""
    if not reason.strip():
        print("Say why the backup was brought back, in words.", file=sys.stderr)
        return CANNOT_ASK
    if not has_shop(settings):
        return CANNOT_ASK
    with opened(settings) as (store, keyring):
        epochs.open_epoch(store, keyring, reason.strip(), datetime.now(UTC))
        with store.reading():
            now = ledger.head(store)
    print(f"Kept from now on: the head of {now['size']} entries. What was kept before stands on the ledger.")
    return HAS_IT


def signed(settings: Settings) -> int:
    """Print the head of now as a signed note. Raises as `opened` does, and LedgerWentBack."""
    if not has_shop(settings):
        return CANNOT_ASK
    with opened(settings) as (store, keyring):
        print(signed_heads.sign_head(store, keyring.head_signer), end="")
    return HAS_IT


def kept(settings: Settings, files: list[Path], *, as_json: bool) -> int:
    """Say of signed heads that were kept, one or two, whether the ledger has them, and the proof between."""
    try:
        keys = (settings.data_folder / HEAD_KEYS_FILE).read_text(encoding="utf-8").split()
        known = [NoteVerifier.from_text(key) for key in keys]
        heads = [kept_heads.read_kept(file.read_text(encoding="utf-8"), known) for file in files]
    except (OSError, UnicodeError) as error:
        print(f"Cannot read it: {error}", file=sys.stderr)
        return CANNOT_ASK
    except (NoteRefused, CheckpointRefused, HeadUnreadable) as refused:
        print(say(refused.code, refused.fields), file=sys.stderr)
        return CANNOT_ASK
    with looked_into(settings) as store:
        if store is None:
            return CANNOT_ASK
        found = kept_heads.compare(store, heads)
    if as_json:
        told = [
            {"size": one.size, "root": one.root, "holds": held}
            for one, held in zip(found.kept, found.held, strict=True)
        ]
        print(json.dumps({"head": found.now, "kept": told, "holds": found.holds, "grown": found.grown}))
    else:
        for one, held in zip(found.kept, found.held, strict=True):
            print(_sentence(one.size, found.now, held=held))
    return HAS_IT if found.holds else HAS_IT_NOT


def prove(settings: Settings, size: int) -> int:
    """Print as JSON the head of an earlier size, that of now,
    and the proof that the ledger only grew between them.
    """
    with looked_into(settings) as store:
        if store is None:
            return CANNOT_ASK
        with store.reading():
            try:
                grown = ledger.grown_since(store, size)
            except TreeError as error:
                print(error, file=sys.stderr)
                return CANNOT_ASK
    print(json.dumps(grown, indent=1))
    return HAS_IT


def check(path: Path) -> int:
    """Say of a file that `prove` printed whether its later ledger begins with its earlier one. Needs no
    server.
    """
    try:
        value = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        print(f"Cannot read {path}: {error}", file=sys.stderr)
        return CANNOT_ASK
    held = ledger.only_grew(value)
    print(
        "The proof holds: the later ledger begins with the earlier one. Compare both heads with those that "
        "you kept."
        if held
        else "The proof does not hold: these two heads are not of one ledger that only grew."
    )
    return HAS_IT if held else HAS_IT_NOT


def _read(size: str, root: str) -> tuple[int, str] | None:
    """A head as somebody types it from paper: the root may stand in groups and in capitals."""
    digits = "".join(root.split()).lower()
    right = (
        size.isascii()
        and size.isdigit()
        and len(digits) == HEX_DIGITS
        and set(digits) <= set("0123456789abcdef")
    )
    return (int(size), digits) if right else None


def _sentence(size: int, now: LedgerHead, *, held: bool) -> str:
    if held:
        return (
            f"The ledger has this head: its first {size} entries are those of then; it has {now['size']} now."
        )
    if size > now["size"]:
        return (
            f"The ledger has {now['size']} entries; the head that was kept is of {size}. It was cut short, "
            "or "
            "brought back from a backup. Stop the server and keep this data folder as it is."
        )
    return (
        f"The ledger's first {size} entries are not those of then: it was written anew, or is another one. "
        "Stop the "
        "server and keep this data folder as it is."
    )
