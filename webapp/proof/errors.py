"""What goes wrong in the proof room, each by name.

Passphrases, PINs and key material never appear in a code or a field.
"""

from __future__ import annotations

from webapp.words import SaidByCode


class ProofError(SaidByCode):
    """Base of all errors of this room."""


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
