"""The head of the ledger as a text that is signed, printed and handed out.

Rules, from C2SP tlog-checkpoint v1.0.0 (https://c2sp.org/tlog-checkpoint@v1.0.0): the log's name (origin),
the number of leaves in decimal without leading zeros, the root of the RFC 6962 tree in base64, each on a
line of its own that ends with a line feed. Lines beyond the third are allowed by the standard and of no
meaning here: none is ever written, and a text that has one is refused, because nobody could say what it was
signed for.
"""

from __future__ import annotations

import re
from base64 import b64decode, b64encode
from dataclasses import dataclass

from webapp.domain.evidence.tree import HASH_BYTES
from webapp.domain.plain.errors import DomainError

MOST_DIGITS = 18


class CheckpointRefused(DomainError):
    """A text that is no head of a ledger."""

    code = "checkpoint.malformed"


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A ledger's name, how many entries it had, and the root over them in lower-case hex."""

    origin: str
    size: int
    root: str

    @property
    def text(self) -> str:
        """The three lines."""
        return f"{self.origin}\n{self.size}\n{b64encode(bytes.fromhex(self.root)).decode()}\n"


def read_checkpoint(text: str) -> Checkpoint:
    """The head in a text, whose signature is another room's to look at. Raises CheckpointRefused."""
    lines = text.split("\n")
    if len(lines) != 4 or lines[3] or not lines[0] or not re.fullmatch(r"0|[1-9][0-9]*", lines[1], re.ASCII):
        raise CheckpointRefused
    try:
        root = b64decode(lines[2], validate=True)
    except ValueError:
        raise CheckpointRefused from None
    if len(lines[1]) > MOST_DIGITS or len(root) != HASH_BYTES or b64encode(root).decode() != lines[2]:
        raise CheckpointRefused
    return Checkpoint(lines[0], int(lines[1]), root.hex())
