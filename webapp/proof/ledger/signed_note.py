"""Signed notes: a text with signatures below it, and the keys that make and check them.

Rules, from C2SP signed-note v1.0.0 (https://c2sp.org/signed-note@v1.0.0), Ed25519 (RFC 8032) alone:
- text that ends with a line feed, an empty line, then lines of an em dash, the key's name and base64 of four
  bytes of key id and the signature over the text;
- a key's id is the first four bytes of SHA-256 over its name, a line feed, the byte 0x01 and its 32 public
  bytes;
- signatures of unknown keys are passed over, one of a known key has to fit, and one at least has to be of a
  known key;
- UTF-8 without control characters but the line feed; base64 of RFC 4648 section 4 in its one spelling.

No library of the registry that is cared for gives this without a client of somebody's service around it.
"""

from __future__ import annotations

import re
from base64 import b64decode, b64encode
from collections.abc import Iterable
from dataclasses import dataclass, field
from hashlib import sha256

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from webapp.proof.errors import NoteRefused

ED25519 = b"\x01"
KEY_BYTES = 32
ID_BYTES = 4
MOST_SIGNATURES = 100
# Room for sixteen signatures of five thousand bytes, which any reader has to take.
LARGEST_NOTE_BYTES = 128 * 1024
DASH = "\N{EM DASH} "


@dataclass(frozen=True, slots=True)
class NoteVerifier:
    """The public half of a key that signs notes, under its name."""

    name: str
    public_bytes: bytes

    @property
    def key_id(self) -> bytes:
        """The four bytes that stand before its signatures."""
        return sha256(self.name.encode() + b"\n" + ED25519 + self.public_bytes).digest()[:ID_BYTES]

    @property
    def text(self) -> str:
        """The key as it is handed out: name, id in hex, base64 of type and key, with plus signs between."""
        return f"{self.name}+{self.key_id.hex()}+{b64encode(ED25519 + self.public_bytes).decode()}"

    @staticmethod
    def from_text(text: str) -> NoteVerifier:
        """The key in such a text. Raises NoteRefused."""
        name, _, rest = text.partition("+")
        key_id, _, encoded = rest.partition("+")
        material = _from_base64(encoded)
        if not is_key_name(name) or material[:1] != ED25519 or len(material) != 1 + KEY_BYTES:
            raise NoteRefused("note.key_malformed", typed=text[:200])
        found = NoteVerifier(name, material[1:])
        if found.key_id.hex() != key_id:
            raise NoteRefused("note.key_malformed", typed=text[:200])
        return found

    def fits(self, text: str, signature: bytes) -> bool:
        """Whether this is the key's signature over the text."""
        try:
            Ed25519PublicKey.from_public_bytes(self.public_bytes).verify(signature, text.encode())
        except (InvalidSignature, ValueError):
            return False
        return True


@dataclass(frozen=True, slots=True)
class NoteSigner:
    """A key that signs notes, under its name."""

    name: str
    key: Ed25519PrivateKey = field(repr=False)

    @property
    def verifier(self) -> NoteVerifier:
        """The half of it that everybody may have."""
        return NoteVerifier(self.name, self.key.public_key().public_bytes_raw())

    def sign(self, text: str) -> str:
        """The note: this text, which ends with a line feed, and the signature. Raises NoteRefused for other
        text.
        """
        if not _is_text(text):
            raise NoteRefused("note.malformed")
        signature = b64encode(self.verifier.key_id + self.key.sign(text.encode())).decode()
        return f"{text}\n{DASH}{self.name} {signature}\n"


def read_note(note: str, verifiers: Iterable[NoteVerifier]) -> str:
    """The text of a note that one of these keys signed. Raises NoteRefused for every other note."""
    text, signatures = split_note(note)
    known = {(one.name, one.key_id): one for one in verifiers}
    signed = False
    for name, key_id, signature in signatures:
        key = known.get((name, key_id))
        if key is None:
            continue
        if not key.fits(text, signature):
            raise NoteRefused("note.signature_wrong", name=name)
        signed = True
    if not signed:
        names = ", ".join(sorted({name for name, _, _ in signatures}))
        raise NoteRefused("note.no_known_key", names=names)
    return text


def split_note(note: str) -> tuple[str, list[tuple[str, bytes, bytes]]]:
    """Text and signatures (name, key id, signature), none of them checked yet. Raises NoteRefused."""
    text, gap, below = note.rpartition("\n\n")
    lines = below.split("\n")
    right = gap and _is_text(text + "\n") and lines[-1] == "" and 1 < len(lines) <= MOST_SIGNATURES + 1
    if not right or len(note.encode("utf-8", "surrogatepass")) > LARGEST_NOTE_BYTES:
        raise NoteRefused("note.malformed")
    return text + "\n", [_signature(line) for line in lines[:-1]]


def is_key_name(name: str) -> bool:
    """Whether a key may be named so: not empty, no spaces, no plus sign, no control characters."""
    return bool(name) and not re.search(r"[\s+\x00-\x20]", name)


def _signature(line: str) -> tuple[str, bytes, bytes]:
    name, _, encoded = line.removeprefix(DASH).partition(" ")
    value = _from_base64(encoded)
    if not line.startswith(DASH) or not is_key_name(name) or len(value) <= ID_BYTES:
        raise NoteRefused("note.malformed")
    return name, value[:ID_BYTES], value[ID_BYTES:]


def _is_text(text: str) -> bool:
    """Whether a note may say this: lines of UTF-8, the last one ended, no other control characters."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return text.endswith("\n") and not re.search(r"[\x00-\x09\x0b-\x1f]", text)


def _from_base64(text: str) -> bytes:
    """The bytes behind the one spelling, none at all for another text."""
    try:
        value = b64decode(text, validate=True)
    except ValueError:
        return b""
    return value if b64encode(value).decode() == text else b""
