"""A tablet: a real P-256 key, a chain of real signed events, sealed PINs."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec

from webapp.domain.evidence.events import EVENT_DOMAIN
from webapp.domain.plain.json_strict import canonical_bytes
from webapp.proof.keys.jwe import seal_pin, sign_seal
from webapp.proof.keys.jws import EVENT_TYPE, public_jwk, sign
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.intake import enrolling
from webapp.store import Store

APP = "0.1.0"


@dataclass
class Device:
    """`sent` holds every event made, as the uploads' parts; forget or reorder them as the test likes."""

    number: int = 90_001
    name: str = "Tablet 1"
    sequence: int = 0
    previous: str | None = None
    sent: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.key = ec.derive_private_key(self.number, ec.SECP256R1())
        self.jwk = public_jwk(self.key.public_key())
        self.id = self.jwk["kid"]

    def clone(self) -> Device:
        """The same tablet from a copy of its storage: same key, same place in the chain."""
        return Device(self.number, self.name, self.sequence, self.previous)

    def event(self, type: str, data: dict[str, Any], **envelope: Any) -> dict[str, Any]:  # noqa: A002
        """Make, sign and queue the next event of the chain; its fields with the id put in."""
        self.sequence += 1
        event = {
            "domain": EVENT_DOMAIN,
            "type": type,
            "device": self.id,
            "sequence": self.sequence,
            "previous": self.previous,
            "app": APP,
            "elapsed_ms": 1000 * self.sequence,
            "step": None,
            "data": data,
            **envelope,
        }
        part = self.part(event)
        self.previous = event_id(part["jws"])
        self.sent.append(part)
        return {**event, "id": self.previous}

    def part(
        self, payload: Any, key: ec.EllipticCurvePrivateKey | None = None, kid: str | None = None
    ) -> dict[str, Any]:
        """One part of an upload over any payload, signed with this key (or another)."""
        raw = payload if isinstance(payload, bytes) else json.dumps(payload, ensure_ascii=False).encode()
        return {"jws": sign(raw, key or self.key, kid or self.id, EVENT_TYPE), "pin": None}

    def seal(self, pin: str, event: str, person: str, keyring: KeyRing, **changes: str) -> str:
        """A PIN sealed to the server for one signature."""
        bound = {"event_id": event, "device_id": self.id, "person_id": person, **changes}
        return sign_seal(seal_pin(pin, keyring.pin_jwk, **bound), self.key, self.id)

    def signed(self, payload: dict[str, Any], typ: str) -> str:
        """A compact JWS of another kind than an event."""
        return sign(canonical_bytes(payload), self.key, self.id, typ)

    def enrol(
        self, store: Store, keyring: KeyRing, clock: Any, code: str = "7QF3KM9XRA", lead: str = "ines"
    ) -> None:
        """Let a lead make a code and use it."""
        enrolling.make_code(store, lead, clock(), code)
        proof = self.enrol_proof(code)
        enrolling.enrol(store, keyring, code, self.name, self.jwk, "standalone", proof, clock())

    def enrol_proof(self, code: str, name: str | None = None) -> str:
        """The proof that this tablet holds its key."""
        digest = sha256(code.encode()).hexdigest()
        payload = {"domain": "zerokeep/enrol/1", "code_sha256": digest, "name": name or self.name}
        return self.signed(payload, "zerokeep-enrol+jws")


def event_id(jws: str) -> str:
    """SHA-256 of the signing input, lower-case hex."""
    return sha256(jws.rpartition(".")[0].encode()).hexdigest()
