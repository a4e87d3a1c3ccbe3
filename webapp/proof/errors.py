"""What goes wrong in the proof room, each by name.

Every error carries a `code` and `fields`; its sentence stands in the words catalogue under the code, and
`str()` gives it. Passphrases, PINs and key material never appear in either.
"""

from __future__ import annotations

from webapp.words import say


class ProofError(Exception):
    """Base of all errors of this room; `str()` is the sentence for a person."""

    def __init__(self, code: str, **fields: str | int) -> None:
        super().__init__(code, fields)
        self.code = code
        self.fields = fields

    def __str__(self) -> str:
        return say(self.code, self.fields)


class KeyFolderError(ProofError):
    """The folder of keys cannot be used as it is."""


class WrongPassphraseError(KeyFolderError):
    """The keys are whole, but this passphrase does not open them."""


class DamagedKeyFileError(KeyFolderError):
    """The bytes on disk are not the bytes that were written."""


class JwsRefused(ProofError):
    """A signed message is malformed, or its signature does not fit."""


class NoteRefused(ProofError):
    """A signed note, or the text of a key for notes, is malformed, or no known key signed it."""


class PinSealRefused(ProofError):
    """A sealed PIN is malformed, altered, sealed to another key, or belongs to another event."""


class SealError(ProofError):
    """A PDF could not be sealed, or what came out did not verify; nothing was handed out."""


class BackupRefused(ProofError):
    """A backup, or the key that should open it, is not what it should be; nothing of it may be used."""
