"""One key takes over from another: a statement that the former key signs, so that whoever knew it learns the
new one.

Rules: a statement names both keys in full and what they are for; a chain of them is followed from a key that
is known already, each step verified with the key before it; a step that does not hold ends the chain there.
"""

from __future__ import annotations

from collections.abc import Iterable

from cryptography.hazmat.primitives.asymmetric import ec

from webapp.domain.plain.json_strict import JsonError, canonical_bytes, read_json
from webapp.proof.errors import JwsRefused
from webapp.proof.keys.encoding import from_base64url
from webapp.proof.keys.jws import DeviceKey, key_id, public_jwk, sign

DOMAIN = "zerokeep/key/1"
TYPE = "zerokeep-key+jws"
RECEIPTS = "receipts"
PrivateKey = ec.EllipticCurvePrivateKey


def statement(former: PrivateKey, new: PrivateKey, at_utc: str, use: str = RECEIPTS) -> str:
    """The former key says that the new one takes its place from then on."""
    keys = [public_jwk(key.public_key()) for key in (former, new)]
    payload = {"domain": DOMAIN, "use": use, "former": keys[0], "jwk": keys[1], "at_utc": at_utc}
    return sign(canonical_bytes(payload), former, keys[0]["kid"], TYPE)


def succeeded_by(kid: str, statements: Iterable[str], use: str = RECEIPTS) -> str:
    """The thumbprint that the key `kid` leads to by these statements, in order; itself where none follows."""
    for text in statements:
        try:
            if key_id(text) == kid:
                kid = _new_key(text, kid, use)
        except (JwsRefused, JsonError, LookupError, TypeError):
            return kid
    return kid


def _new_key(text: str, kid: str, use: str) -> str:
    # Who the former key is stands in the statement itself: its thumbprint is what was known.
    former = _former(text)
    if former.kid != kid:
        raise JwsRefused("jws.other_key", kid=former.kid)
    payload = read_json(former.verify(text, TYPE).payload_bytes)
    if payload["domain"] != DOMAIN or payload["use"] != use:
        raise JwsRefused("jws.malformed")
    return DeviceKey.from_jwk(payload["jwk"]).kid


def _former(text: str) -> DeviceKey:
    payload = read_json(from_base64url(text.split(".")[1]))
    return DeviceKey.from_jwk(payload["former"])
