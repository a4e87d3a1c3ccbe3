"""What goes wrong in the proof room, each by name.

Every error carries a `code` and `fields` for a program and a plain sentence for a person. Passphrases, PINs
and key material never appear in either.
"""

from typing import Any


class ProofError(Exception):
    """Base of all errors of this room; `str()` is the sentence for a person."""

    def __init__(self, code: str, sentence: str, **fields: Any) -> None:
        super().__init__(sentence)
        self.code = code
        self.fields = fields


class KeyFolderError(ProofError):
    """The folder of keys cannot be used as it is."""


class WrongPassphrase(KeyFolderError):
    """The keys are whole, but this passphrase does not open them."""


class DamagedKeyFile(KeyFolderError):
    """The bytes on disk are not the bytes that were written."""


class JwsRefused(ProofError):
    """A signed message is malformed, or its signature does not fit."""


class PinSealRefused(ProofError):
    """A sealed PIN is malformed, altered, sealed to another key, or belongs to another event."""


class SealError(ProofError):
    """A PDF could not be sealed, or what came out did not verify; nothing was handed out."""
