"""Reading what a tablet sent: whose it is, whether its signature fits, whether it is an event.

Rules: the text is verified as it came and never written anew (RFC 7515 section 5.2); the id is the hash of
what was signed, never of the signature, because an ECDSA signature can be altered into another valid one;
every refusal has a code. Nothing here touches the store.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from typing import Any, NamedTuple

from typing_extensions import TypedDict

from webapp.domain.evidence.event_kinds import Event
from webapp.domain.evidence.events import read_event
from webapp.domain.plain.declared import Fault, Shape, exactly
from webapp.domain.plain.errors import DomainError
from webapp.proof.errors import JwsRefused
from webapp.proof.keys.jws import DeviceKey, key_id
from webapp.services.intake.errors import BatchMalformed, BatchTooLong

MOST_EVENTS = 500
LONGEST_CODE_VALUE = 80


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why something was not taken: a code of the words catalogue and the fields of its sentence."""

    code: str
    fields: dict[str, str | int]


class Sent(NamedTuple):
    """One signed text as it was sent. `device` is there when it is known whose key it names.

    `event` is its payload after every field was looked at; `refusal` says why there is none.
    """

    id: str
    jws: str
    seal: str | None
    device: str | None = None
    event: Event[Any] | None = None
    refusal: Refusal | None = None
    verified: bool = False


@exactly
class SentPart(TypedDict):
    """One part of an upload: a signed text, and the sealed PIN that travels beside a signature."""

    jws: str
    pin: str | None


PART: Shape[SentPart] = Shape(SentPart)


class Part(NamedTuple):
    """The same with its id, the hash of what was signed."""

    id: str
    jws: str
    seal: str | None


def read_batch(batch: object) -> list[Part]:
    """The parts of an upload, each looked at once. Raises BatchMalformed, BatchTooLong."""
    if not isinstance(batch, list):
        raise BatchMalformed
    if len(batch) > MOST_EVENTS:
        raise BatchTooLong(most=MOST_EVENTS)
    return [_read_part(part) for part in batch]


def named_device(jws: str) -> str | None:
    """The device id that a text names in its header, not verified; None if it has no readable header."""
    head = jws.partition(".")[0]
    try:
        return _named_in(head)
    except JwsRefused:
        return None


def unreadable(id_: str, jws: str, seal: str | None) -> Sent:
    """A text that names no tablet."""
    return Sent(id_, jws, seal, refusal=Refusal("intake.malformed", {}))


def read_sent(id_: str, jws: str, seal: str | None, jwk: tuple[tuple[str, str], ...] | None) -> Sent:
    """Verify one text with the key of the device that it names (None:
    no device of that name) and read its event.
    """
    if jwk is None:
        return Sent(id_, jws, seal, refusal=Refusal("intake.device_unknown", {}))
    key = _key(jwk)
    try:
        verified = key.verify(jws)
    except JwsRefused as refused:
        return Sent(id_, jws, seal, refusal=Refusal(refused.code, _plain_fields(refused.fields)))
    try:
        signed = read_event(verified.payload_bytes)
    except DomainError as error:
        refusal = Refusal(error.code, error.fields)
        return Sent(id_, jws, seal, key.kid, refusal=refusal, verified=True)
    if signed["device"] != key.kid:
        refusal = Refusal("intake.other_device", {})
        return Sent(id_, jws, seal, key.kid, refusal=refusal, verified=True)
    return Sent(id_, jws, seal, key.kid, {**signed, "id": id_}, verified=True)


def _read_part(part: object) -> Part:
    found = PART.read(part)
    if isinstance(found, Fault):
        raise BatchMalformed
    signed = found["jws"].rpartition(".")[0] or found["jws"]
    return Part(sha256(signed.encode("utf-8", "surrogatepass")).hexdigest(), found["jws"], found["pin"])


@lru_cache(maxsize=256)
def _named_in(head: str) -> str:
    return key_id(f"{head}..")


@lru_cache(maxsize=256)
def _key(jwk: tuple[tuple[str, str], ...]) -> DeviceKey:
    return DeviceKey.from_jwk(dict(jwk))


def _plain_fields(fields: Mapping[str, object]) -> dict[str, str | int]:
    return {
        name: value if isinstance(value, int) else str(value)[:LONGEST_CODE_VALUE]
        for name, value in fields.items()
    }
