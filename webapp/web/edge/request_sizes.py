"""How much a request may carry, per endpoint, in bytes. Reading stops at the limit (OWASP ASVS 5.0, 5.2.1).

Multipart forms are held in memory up to MAX_FORM_MEMORY_SIZE and in MAX_FORM_PARTS parts;
the file of an upload goes to a temporary file and counts against the limit of its endpoint only.
"""

from collections.abc import Mapping

from webapp.domain.evidence.event_kinds import LARGEST_PHOTO_BYTES

KIB = 1024
MIB = 1024 * KIB
SMALL = 64 * KIB
FORM_MEMORY = 64 * KIB
FORM_PARTS = 120

LARGEST: Mapping[str, int] = {
    "api.events": 4 * MIB,
    "api.news": 256 * KIB,
    "api.sheet": 2 * MIB,
    "api.photo": LARGEST_PHOTO_BYTES,
    "audit.verify": 16 * MIB,
    "past.look": 16 * MIB,
    "step_pictures.page": 13 * MIB,
    "registers.waiting_file": 17 * MIB,
}


# Calls of a tablet carry JSON, but for these.
KINDS: Mapping[str, str] = {"api.photo": "image/jpeg"}


def kind_of_body(endpoint: str | None) -> str:
    """The media type that a tablet's call to this endpoint has to have."""
    return KINDS.get(endpoint or "", "application/json")


def largest_body(endpoint: str | None) -> int:
    """The most bytes that a request to this endpoint may carry."""
    return LARGEST.get(endpoint or "", SMALL)
