"""Secrets by the system's chance, for people: first passphrases, first PINs, one-time codes.

Only the edges of the program draw chance; the use cases get what was drawn.
"""

import secrets

from webapp.domain.plain.errors import DomainError
from webapp.services.people.secret_rules import check_passphrase, check_pin

# Short everyday words; four by chance make a passphrase that a person can type at a desk.
WORDS = (
    "amber", "anchor", "basin", "birch", "bottle", "brook", "candle", "canvas", "cedar", "chalk", "cinder",
    "clover", "copper", "cotton", "dune", "ember", "fennel", "ferry", "flint", "garnet", "ginger", "harbour",
    "hazel", "heron", "ivory", "juniper", "kelp", "lantern", "linen", "maple", "marble", "meadow", "mortar",
    "nettle", "oyster", "paddle", "pebble", "pepper", "pewter", "plank", "quarry", "quill", "raven", "reed",
    "saddle", "saffron", "sorrel", "sparrow", "thimble", "thistle", "timber", "tulip", "umber", "velvet",
    "walnut", "willow", "wren", "yarrow", "zinc",
)  # fmt: skip


def new_token() -> str:
    """256 bits of chance as URL-safe text."""
    return secrets.token_urlsafe(32)


def one_time_code() -> str:
    """64 bits of chance in sixteen hexadecimal digits."""
    return secrets.token_hex(8)


def first_secret(kind: str) -> str:
    """A passphrase of five words or a PIN of six digits, that the rules of secrets take."""
    while True:
        try:
            if kind == "pin":
                return check_pin(f"{secrets.randbelow(1_000_000):06}")
            return check_passphrase(" ".join(secrets.choice(WORDS) for _ in range(5)))
        except DomainError:
            continue
