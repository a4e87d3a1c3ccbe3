"""Base64url, read in one way only.

As RFC 7515 section 2 has it: no padding, no line breaks; and the unused last bits are zero, so that one value
has one spelling. Two readers that understand one message differently are a hole.

Every event passes here three times, so the two alphabets are exchanged directly (RFC 4648 sections 4 and 5).
"""

from binascii import a2b_base64, b2a_base64

_TO_URL = bytes.maketrans(b"+/", b"-_")
_FROM_URL = bytes.maketrans(b"-_", b"+/")


def to_base64url(value: bytes) -> str:
    """Base64url of these bytes, without padding."""
    return b2a_base64(value, newline=False).translate(_TO_URL).rstrip(b"=").decode("ascii")


def from_base64url(text: str) -> bytes:
    """The bytes behind the one valid spelling. Raises ValueError for every other spelling."""
    value = a2b_base64(text.encode("ascii").translate(_FROM_URL) + b"=" * (-len(text) % 4))
    if to_base64url(value) != text:
        raise ValueError("not base64url without padding")
    return value
