"""Digests of stored secrets, for the ledger: so that an audit tells a hash that somebody else put there.

Rule: a digest is keyed with the salt inside that Argon2id text, which stands nowhere else, and so goes when
the secret is changed. The audit needs no key of the server for it. A key would stop nobody who writes
entries: they carry no signature of their own, and whoever adds one leaves it on the ledger for all to read.
"""

from __future__ import annotations

import hmac
from hashlib import sha256
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from webapp.store.rows import PersonRow

SALT_PLACE = 4  # $argon2id$v=19$m=...$SALT$hash


def secret_digest(person: str, stored: str | None) -> str | None:
    """What the ledger has of a stored secret of a person, lower-case hex; None where there is none."""
    if stored is None:
        return None
    parts = stored.split("$")
    salt = parts[SALT_PLACE] if len(parts) > SALT_PLACE else ""
    return hmac.new(salt.encode(), f"{person}\n{stored}".encode("utf-8", "surrogatepass"), sha256).hexdigest()


def digests_of(person: PersonRow) -> dict[str, str | None]:
    """Both secrets of a person as the ledger has them."""
    return {
        "passphrase": secret_digest(person["id"], person["passphrase_hash"]),
        "pin": secret_digest(person["id"], person["pin_hash"]),
    }
