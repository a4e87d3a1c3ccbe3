"""A tablet of the demo: key, chain of events and sealed PIN, as the real tablet makes them in the browser."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec

from webapp.domain.evidence.events import EVENT_DOMAIN
from webapp.domain.plain.json_strict import canonical_bytes
from webapp.proof.keys.jwe import seal_pin, sign_seal
from webapp.proof.keys.jws import EVENT_TYPE, event_id, public_jwk, sign, thumbprint
from webapp.services.times import utc_text

APP = "demo"


@dataclass
class Clock:
    """The wall clock of one tablet, moved by hand."""

    at: datetime
    started: datetime = field(init=False)

    def __post_init__(self) -> None:
        self.started = self.at

    def forward(self, seconds: float) -> None:
        """Let time pass."""
        self.at += timedelta(seconds=seconds)

    @property
    def elapsed_ms(self) -> int:
        """Whole milliseconds since the clock was made."""
        return round((self.at - self.started).total_seconds() * 1000)


@dataclass
class Device:
    """One enrolled tablet: signs events into its chain, and seals PINs to the server's key."""

    private_key: ec.EllipticCurvePrivateKey
    name: str
    pin_key: dict[str, str]
    sequence: int = 0
    previous: str | None = None

    @property
    def jwk(self) -> dict[str, str]:
        """The public key."""
        return public_jwk(self.private_key.public_key())

    @property
    def id(self) -> str:
        """RFC 7638 thumbprint of the public key."""
        return thumbprint(self.jwk)

    def event(
        self, kind: str, data: dict[str, Any], about: dict[str, Any], clock: Clock
    ) -> tuple[str, dict[str, Any]]:
        """The next event as compact JWS, and its payload with the id. `about`: setup, sheet, person, step."""
        self.sequence += 1
        payload = {
            "domain": EVENT_DOMAIN,
            "type": kind,
            "device": self.id,
            "sequence": self.sequence,
            "previous": self.previous,
            "app": APP,
            "at_utc": utc_text(clock.at),
            "elapsed_ms": clock.elapsed_ms,
            "data": data,
            **about,
        }
        jws = sign(canonical_bytes(payload), self.private_key, self.id, EVENT_TYPE)
        self.previous = event_id(jws)
        return jws, {"id": self.previous, **payload}

    def seal(self, pin: str, event: dict[str, Any]) -> str:
        """The PIN, sealed to the server and bound to an event of this tablet."""
        bound = {"event_id": event["id"], "device_id": self.id, "person_id": str(event["person"])}
        return sign_seal(seal_pin(pin, self.pin_key, **bound), self.private_key, self.id)
