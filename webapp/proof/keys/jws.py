"""Signed messages: compact JWS with ES256, made here and on the tablets.

Rules:
- RFC 7515 section 3.1 (compact form) and RFC 7518 section 3.4 (ES256: 64 bytes r || s, never DER);
- the protected header is exactly {"alg": "ES256", "kid", "typ"}: no algorithm to choose, no key to bring
  along, nothing critical to overlook (RFC 8725 sections 3.1, 3.8 and 3.11);
- a key is named by its RFC 7638 thumbprint, a message by the SHA-256 of its signing input. ECDSA signatures
  can be altered into other valid ones, so the signature never takes part in the name;
- the message is verified as the bytes that came; nothing is written anew first (RFC 7515 section 5.2).

Signing is deterministic (RFC 6979), so a poor source of chance cannot give a key away.

Intake verifies hundreds of messages at a time. Measured on one machine in one run, straight `cryptography`
took about 73 microseconds a message and joserfc 88; strict reading has to be written here for both. So this
module stays direct, and joserfc serves where it saves work: the sealed PIN (see jwe.py).
"""

from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

from webapp.domain.plain.json_strict import JsonError, canonical_bytes, read_json
from webapp.proof.errors import JwsRefused
from webapp.proof.keys.encoding import from_base64url, to_base64url

COORDINATE_BYTES = 32
SIGNATURE_BYTES = 2 * COORDINATE_BYTES
LARGEST_PAYLOAD_BYTES = 64 * 1024 - 1
LARGEST_HEADER_CHARACTERS = 512
LARGEST_COMPACT_CHARACTERS = LARGEST_HEADER_CHARACTERS + (LARGEST_PAYLOAD_BYTES * 4 + 2) // 3 + 86 + 2
EVENT_TYPE = "zerokeep-event+jws"

_HEADER_NAMES = {"alg", "kid", "typ"}
_KEY_NAMES = {"kty", "crv", "x", "y"}
_PRIVATE_NAMES = {"d", "p", "q", "dp", "dq", "qi", "k", "oth"}
_VERIFY_ALGORITHM = ec.ECDSA(SHA256())
_SIGN_ALGORITHM = ec.ECDSA(SHA256(), deterministic_signing=True)


@dataclass(frozen=True, slots=True)
class VerifiedJws:
    """A message whose signature fits: its header, the payload's bytes, and the bytes that were signed."""

    header: dict[str, str]
    payload_bytes: bytes
    signed_bytes: bytes

    @property
    def event_id(self) -> str:
        """SHA-256 of the signed bytes, lower-case hex."""
        return sha256(self.signed_bytes).hexdigest()


@dataclass(frozen=True, slots=True)
class DeviceKey:
    """The public half of a tablet's key (or of any P-256 key) and its thumbprint."""

    kid: str
    public_key: ec.EllipticCurvePublicKey

    @classmethod
    def from_jwk(cls, jwk: dict[str, Any]) -> "DeviceKey":
        """The key in a public P-256 JWK; its kid is computed, never taken over. Raises JwsRefused."""
        public_key = public_key_from_jwk(jwk)
        return cls(thumbprint(jwk), public_key)

    def verify(self, compact: str, typ: str = EVENT_TYPE) -> VerifiedJws:
        """Check one compact JWS of this key and this `typ`. Raises JwsRefused, naming what is wrong."""
        header_part, payload_part, signature_part = _three_parts(compact)
        header = _read_header(header_part)
        if header["typ"] != typ:
            raise JwsRefused("jws.wrong_type", typ=header["typ"], expected=typ)
        if header["kid"] != self.kid:
            raise JwsRefused("jws.other_key", kid=header["kid"])
        payload = _decoded(payload_part, "payload")
        if len(payload) > LARGEST_PAYLOAD_BYTES:
            raise JwsRefused("jws.too_long", length=len(payload), most=LARGEST_PAYLOAD_BYTES)
        signed_bytes = f"{header_part}.{payload_part}".encode("ascii")
        check_signature(self.public_key, _decoded(signature_part, "signature"), signed_bytes)
        return VerifiedJws(header, payload, signed_bytes)


def thumbprint(jwk: dict[str, Any]) -> str:
    """RFC 7638 thumbprint (SHA-256, base64url, 43 characters) of an EC or RSA key;
    private members play no part.
    """
    names = {"EC": ("crv", "kty", "x", "y"), "RSA": ("e", "kty", "n")}.get(jwk.get("kty", ""))
    if names is None or any(not isinstance(jwk.get(name), str) for name in names):
        raise JwsRefused("jwk.incomplete")
    return to_base64url(sha256(canonical_bytes({name: jwk[name] for name in names})).digest())


def public_jwk(public_key: ec.EllipticCurvePublicKey) -> dict[str, str]:
    """Public P-256 key as JWK with its thumbprint as `kid` (RFC 7517, RFC 7518 section 6.2)."""
    numbers = public_key.public_numbers()
    x, y = (to_base64url(value.to_bytes(COORDINATE_BYTES, "big")) for value in (numbers.x, numbers.y))
    jwk = {"kty": "EC", "crv": "P-256", "x": x, "y": y}
    return jwk | {"kid": thumbprint(jwk)}


def public_key_from_jwk(jwk: dict[str, Any]) -> ec.EllipticCurvePublicKey:
    """The P-256 point in a JWK.

    Raises JwsRefused for private members, another curve, a point off the curve, or a false kid.
    """
    is_p256 = jwk.keys() >= _KEY_NAMES and (jwk["kty"], jwk["crv"]) == ("EC", "P-256")
    if not is_p256:
        raise JwsRefused("jwk.not_p256")
    if _PRIVATE_NAMES & jwk.keys():
        raise JwsRefused("jwk.private")
    if jwk.get("kid", thumbprint(jwk)) != thumbprint(jwk):
        raise JwsRefused("jwk.false_name")
    x, y = (_decoded(jwk[name], name) for name in ("x", "y"))
    if (len(x), len(y)) != (COORDINATE_BYTES, COORDINATE_BYTES):
        raise JwsRefused("jwk.not_p256")
    try:
        return ec.EllipticCurvePublicNumbers(
            int.from_bytes(x, "big"), int.from_bytes(y, "big"), ec.SECP256R1()
        ).public_key()
    except ValueError:
        raise JwsRefused("jwk.off_curve") from None


def sign(payload: bytes, private_key: ec.EllipticCurvePrivateKey, kid: str, typ: str) -> str:
    """Compact JWS over these payload bytes, header exactly {alg, kid, typ}, signature 64 bytes r || s."""
    header = to_base64url(canonical_bytes({"alg": "ES256", "kid": kid, "typ": typ}))
    signing_input = f"{header}.{to_base64url(payload)}"
    r, s = decode_dss_signature(private_key.sign(signing_input.encode("ascii"), _SIGN_ALGORITHM))
    raw = r.to_bytes(COORDINATE_BYTES, "big") + s.to_bytes(COORDINATE_BYTES, "big")
    return f"{signing_input}.{to_base64url(raw)}"


def event_id(compact: str) -> str:
    """SHA-256 of the signing input `header.payload`, lower-case hex; whatever the signature, the same id."""
    header_part, payload_part, _ = _three_parts(compact)
    return sha256(f"{header_part}.{payload_part}".encode("ascii")).hexdigest()


def key_id(compact: str) -> str:
    """The `kid` that the header names, read strictly but not verified:
    only to find the key to verify with.
    """
    return _read_header(_three_parts(compact)[0])["kid"]


def check_signature(public_key: ec.EllipticCurvePublicKey, signature: bytes, signed_bytes: bytes) -> None:
    """Check one ES256 signature, 64 bytes r || s (RFC 7518 section 3.4). Raises JwsRefused."""
    if len(signature) != SIGNATURE_BYTES:
        raise JwsRefused("jws.signature_form", bytes=len(signature))
    r, s = (
        int.from_bytes(half, "big") for half in (signature[:COORDINATE_BYTES], signature[COORDINATE_BYTES:])
    )
    try:
        public_key.verify(encode_dss_signature(r, s), signed_bytes, _VERIFY_ALGORITHM)
    except InvalidSignature:
        raise JwsRefused("jws.signature_wrong") from None


def _three_parts(compact: str) -> tuple[str, str, str]:
    if len(compact) > LARGEST_COMPACT_CHARACTERS:
        raise JwsRefused("jws.too_long", length=len(compact), most=LARGEST_COMPACT_CHARACTERS)
    parts = compact.split(".")
    if len(parts) != 3 or not compact.isascii():
        raise JwsRefused("jws.malformed")
    return parts[0], parts[1], parts[2]


def _decoded(part: Any, name: str) -> bytes:
    try:
        return from_base64url(part)
    except (ValueError, AttributeError):
        raise JwsRefused("jws.not_base64url", part=name) from None


@lru_cache(maxsize=256)  # one device always sends the same header; nobody changes what comes back
def _read_header(part: str) -> dict[str, str]:
    if len(part) > LARGEST_HEADER_CHARACTERS:
        raise JwsRefused("jws.too_long", length=len(part), most=LARGEST_HEADER_CHARACTERS)
    try:
        header = read_json(_decoded(part, "header"))
    except JsonError:
        raise JwsRefused("jws.header_not_json") from None
    if not isinstance(header, dict) or header.keys() != _HEADER_NAMES:
        raise JwsRefused("jws.header_fields")
    if header["alg"] != "ES256" or not all(isinstance(value, str) for value in header.values()):
        raise JwsRefused("jws.algorithm", alg=str(header["alg"])[:20])
    return header
