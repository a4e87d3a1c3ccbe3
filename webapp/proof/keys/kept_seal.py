"""A sealed PIN that waits for its check, as it is kept: encrypted under a key of its own that lies elsewhere.

Rule: a database keeps deleted rows on its disk, in its log and in its backups. The row is therefore nothing
without the key, which lies in a file outside of them and is destroyed with the check. AES-256-GCM (NIST SP
800-38D) with a fresh key for each seal, so that a nonce of zeros is used once; the event is authenticated.
"""

from __future__ import annotations

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from webapp.proof.keys.encoding import from_base64url, to_base64url

KEPT = "kept1."
KEY_BYTES = 32
_NONCE = bytes(12)


def close_seal(seal: str, key: bytes, event: str) -> str:
    """The text that is kept of a sealed PIN. `key` is used for this one alone."""
    return KEPT + to_base64url(AESGCM(key).encrypt(_NONCE, seal.encode(), event.encode()))


def open_kept(kept: str, key: bytes | None, event: str) -> str | None:
    """The sealed PIN in such a text; None where its key is gone or another. Early ones were kept as they
    came.
    """
    if not kept.startswith(KEPT):
        return kept
    if key is None:
        return None
    try:
        return AESGCM(key).decrypt(_NONCE, from_base64url(kept.removeprefix(KEPT)), event.encode()).decode()
    except (InvalidTag, ValueError):
        return None
