"""Base64url, read in one way only.

As RFC 7515 section 2 has it: no padding, no line breaks; and the unused last bits are zero, so that one value
has one spelling. Two readers that understand one message differently are a hole.
"""

from base64 import urlsafe_b64decode, urlsafe_b64encode


def to_base64url(value: bytes) -> str:
    """Base64url of these bytes, without padding."""
    return urlsafe_b64encode(value).rstrip(b"=").decode("ascii")


def from_base64url(text: str) -> bytes:
    """The bytes behind the one valid spelling. Raises ValueError for every other spelling."""
    value = urlsafe_b64decode(text.encode("ascii") + b"=" * (-len(text) % 4))
    if to_base64url(value) != text:
        raise ValueError("not base64url without padding")
    return value
