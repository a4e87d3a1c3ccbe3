"""A PIN sealed on the tablet for the server's eyes only.

Rules:
- compact JWE (RFC 7516), ECDH-ES in direct mode with the Concat KDF (RFC 7518 section 4.6), A256GCM, to the
  server's P-256 key for PINs; a fresh key pair for each seal, so that the same PIN never gives the same text
  twice;
- the protected header is authenticated with the PIN and binds it: the event, the device and the person it was
  typed for. A seal that is moved to another event does not open there;
- around it stands the signature of the tablet: the key that PINs are sealed to is public, so that anybody
  could seal a guess beside an event that they copied, and it would count as a try. What is not signed by the
  tablet that signed the event is no seal of that event;
- the header is exactly the set of names below: no compression (RFC 8725 section 3.6), no other key, nothing
  critical.

joserfc does the agreement, the derivation and the cipher; this module decides what it may be given.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.asymmetric import ec
from joserfc import jwe
from joserfc.errors import JoseError
from joserfc.jwk import ECKey
from joserfc.registry import HeaderParameter

from webapp.domain.plain.json_strict import JsonError, canonical_bytes, read_json
from webapp.proof.errors import JwsRefused, PinSealRefused
from webapp.proof.keys.encoding import from_base64url
from webapp.proof.keys.jws import DeviceKey, public_key_from_jwk, sign
from webapp.proof.keys.key_ring import KeyRing

PIN_SEAL_TYPE = "zerokeep-pin+jwe"
SIGNED_SEAL_TYPE = "zerokeep-pin+jws"
SEAL_DOMAIN = "zerokeep/pin-seal/1"
LARGEST_SEAL_CHARACTERS = 2048
LARGEST_PIN_BYTES = 128

_ALGORITHMS = {"alg": "ECDH-ES", "enc": "A256GCM", "typ": PIN_SEAL_TYPE}
_NAMES = {*_ALGORITHMS, "kid", "epk", "event", "device", "person"}
_REGISTRY = jwe.JWERegistry(
    header_registry={
        name: HeaderParameter(name, "str", required=True) for name in ("event", "device", "person")
    },
    algorithms=["ECDH-ES", "A256GCM"],
)


@dataclass(frozen=True, slots=True)
class OpenedPin:
    """A PIN with what it was sealed for. `repr` leaves the PIN out."""

    pin: str
    event_id: str
    device_id: str
    person_id: str
    key_id: str

    def __repr__(self) -> str:
        return f"OpenedPin(pin=<hidden>, event_id={self.event_id!r}, device_id={self.device_id!r})"

    def must_belong_to(self, *, event_id: str, device_id: str, person_id: str) -> None:
        """Raises PinSealRefused ("pin_seal.moved") unless this PIN was typed for just this event, device and
        person.
        """
        ours = {"event": self.event_id, "device": self.device_id, "person": self.person_id}
        wanted = {"event": event_id, "device": device_id, "person": person_id}
        wrong = sorted(name for name in wanted if ours[name] != wanted[name])
        if wrong:
            raise PinSealRefused("pin_seal.moved", differs=", ".join(wrong))


def seal_pin(pin: str, pin_jwk: dict[str, str], *, event_id: str, device_id: str, person_id: str) -> str:
    """What the tablet does: the PIN as compact JWE to the public key `pin_jwk`,
    bound to event, device and person.
    """
    header = {
        **_ALGORITHMS,
        "kid": pin_jwk["kid"],
        "event": event_id,
        "device": device_id,
        "person": person_id,
    }
    public: dict[str, str | list[str]] = {name: pin_jwk[name] for name in ("kty", "crv", "x", "y")}
    return jwe.encrypt_compact(header, pin.encode(), ECKey.import_key(public), registry=_REGISTRY)


def open_pin(compact: str, keyring: KeyRing) -> OpenedPin:
    """Open one sealed PIN with whichever PIN key of the ring it names.

    The caller still has to ask `must_belong_to` of the result. Raises PinSealRefused with the code
    "pin_seal.malformed", "pin_seal.unknown_key" or "pin_seal.altered".
    """
    header = _read_header(compact)
    private_key = keyring.pin_keys.get(header["kid"])
    if private_key is None:
        raise PinSealRefused("pin_seal.unknown_key", kid=header["kid"])
    try:
        opened = jwe.decrypt_compact(compact, ECKey.import_key(private_key), registry=_REGISTRY)
        pin = (opened.plaintext or b"").decode("utf-8")
    except (JoseError, InvalidTag, ValueError):
        raise PinSealRefused("pin_seal.altered") from None
    if not 0 < len(pin.encode()) <= LARGEST_PIN_BYTES:
        raise _malformed("pin")
    return OpenedPin(pin, header["event"], header["device"], header["person"], header["kid"])


def sign_seal(seal: str, private_key: ec.EllipticCurvePrivateKey, device_id: str) -> str:
    """What the tablet does then: the sealed PIN with its own signature around it, as compact JWS."""
    return sign(
        canonical_bytes({"domain": SEAL_DOMAIN, "seal": seal}), private_key, device_id, SIGNED_SEAL_TYPE
    )


def is_signed(compact: str) -> bool:
    """Whether a signature stands around this seal, right or wrong: early tablets made none."""
    return compact.count(".") == 2


def seal_signed_by(compact: str, device_jwk: Mapping[str, str]) -> str:
    """The seal inside the signature of a tablet, by its public key.
    Raises PinSealRefused "pin_seal.not_signed".
    """
    try:
        payload = read_json(
            DeviceKey.from_jwk(dict(device_jwk)).verify(compact, SIGNED_SEAL_TYPE).payload_bytes
        )
    except (JwsRefused, JsonError):
        raise PinSealRefused("pin_seal.not_signed") from None
    if not isinstance(payload, dict) or payload.keys() != {"domain", "seal"}:
        raise PinSealRefused("pin_seal.not_signed")
    if payload["domain"] != SEAL_DOMAIN or not isinstance(payload["seal"], str):
        raise PinSealRefused("pin_seal.not_signed")
    return payload["seal"]


def open_pin_for(
    compact: str, keyring: KeyRing, *, event_id: str, device_id: str, person_id: str
) -> OpenedPin:
    """`open_pin` and `must_belong_to` in one: the PIN, or PinSealRefused."""
    opened = open_pin(compact, keyring)
    opened.must_belong_to(event_id=event_id, device_id=device_id, person_id=person_id)
    return opened


def _read_header(compact: str) -> dict[str, Any]:
    parts = compact.split(".")
    if len(compact) > LARGEST_SEAL_CHARACTERS or len(parts) != 5 or parts[1]:
        raise _malformed("not_compact")
    try:
        pieces = [from_base64url(part) for part in parts]
        header = read_json(pieces[0])
    except (ValueError, JsonError):
        raise _malformed("not_json") from None
    if not isinstance(header, dict) or header.keys() != _NAMES:
        raise _malformed("header")
    if any(header[name] != value for name, value in _ALGORITHMS.items()):
        raise _malformed("algorithm")
    if (len(pieces[2]), len(pieces[4])) != (12, 16):
        raise _malformed("lengths")
    _check_values(header)
    return header


def _check_values(header: dict[str, Any]) -> None:
    if not all(isinstance(header[name], str) for name in ("kid", "event", "device", "person")):
        raise _malformed("values")
    if not re.fullmatch(r"[0-9a-f]{64}", header["event"]):
        raise _malformed("event")
    if not isinstance(header["epk"], dict):
        raise _malformed("one_time_key")
    try:
        public_key_from_jwk(header["epk"])
    except JwsRefused:
        raise _malformed("one_time_key") from None
    if header["epk"].keys() != {"kty", "crv", "x", "y"}:
        raise _malformed("one_time_key")


def _malformed(why: str) -> PinSealRefused:
    return PinSealRefused("pin_seal.malformed", why_code=f"pin_seal.why.{why}")
