"""A tablet in use asks for the file of a picture that a step shows, by the hash on its sheet.

Rule: the request is signed by the tablet. It needs no fresh challenge: whoever sends it again gets the same
file again, and learns nothing that the first sender did not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from typing_extensions import TypedDict

from webapp.domain.evidence.event_kinds import Hash
from webapp.domain.plain.declared import Shape, exactly
from webapp.services.intake.errors import ProofRefused
from webapp.services.intake.signed_requests import read_signed
from webapp.services.intake.tablets_in_use import IN_USE

if TYPE_CHECKING:
    from webapp.store import Store

REQUEST_TYPE = "zerokeep-picture+jws"


@exactly
class PictureRequest(TypedDict):
    """What a tablet signs."""

    domain: Literal["zerokeep/picture/1"]
    sha256: Hash


REQUEST: Shape[PictureRequest] = Shape(PictureRequest)


def asked_for(store: Store, request: str) -> str:
    """The SHA-256 that a tablet in use asks for. Raises ProofRefused."""
    device, payload = read_signed(store, request, REQUEST_TYPE)
    if device["state"] not in IN_USE or not REQUEST.passes(payload):
        raise ProofRefused
    return str(payload["sha256"])
