"""Signatures, key names and sealed PINs against the examples printed in the RFCs.

Sources: RFC 7515 appendix A.3 (ES256), RFC 7638 section 3.1 (thumbprint), RFC 7518 appendix C (ECDH-ES), all
three typed from memory: a single wrong character would make the signature, the thumbprint or the derived key
fail. RFC 6979 appendix A.2.5 (ECDSA on P-256) from data/ecdsa_p256.json and the Wycheproof cases from
data/ecdsa_p256_raw.json, which name where they were read.
"""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.concatkdf import ConcatKDFHash
from joserfc import jws as joserfc_jws
from joserfc.jwk import ECKey

from webapp.proof.errors import JwsRefused
from webapp.proof.keys import jwe, jws
from webapp.proof.keys.encoding import from_base64url, to_base64url
from webapp.proof.keys.key_ring import KeyRing

RFC_6979 = json.loads((Path(__file__).parent / "data" / "ecdsa_p256.json").read_text())

RFC_7515_KEY = {
    "kty": "EC",
    "crv": "P-256",
    "x": "f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU",
    "y": "x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0",
}
RFC_7515_JWS = (
    "eyJhbGciOiJFUzI1NiJ9."
    "eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFtcGxlLmNvbS9pc19yb290Ijp0cnVlfQ."
    "DtEhU3ljbEg8L38VWAfUAqOyKAM6-Xx-F4GawxaepmXFCgfTjDxw5djxLa8ISlSApmWQxfKTUJqPP3-Kg6NU1Q"
)
RFC_7638_KEY = {
    "kty": "RSA",
    "n": (
        "0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbfAAtVT86zwu1RK7aPFFxuhDR1L6tSoc_BJE"
        "CPebWKRXjBZCiFV4n3oknjhMstn64tZ_2W-5JsGY4Hc5n9yBXArwl93lqt7_RN5w6Cf0h4QyQ5v-65YGjQR0_FDW2Q"
        "vzqY368QQMicAtaSqzs8KJZgnYb9c7d0zgdAZHzu6qMQvRL5hajrn1n91CbOpbISD08qNLyrdkt-bFTWhAI4vMQFh6"
        "WeZu0fM4lFd2NcRwr3XPksINHaQ-G_xBniIqbw0Ls1jF44-csFCur-kEgU8awapJzKnqDKgw"
    ),
    "e": "AQAB",
    "alg": "RS256",
    "kid": "2011-04-29",
}
RFC_7518_BOB = {
    "kty": "EC",
    "crv": "P-256",
    "x": "weNJy2HscCSM6AEDTDg04biOvhFhyyWvOHQfeF_PxMQ",
    "y": "e8lnCO-AlStT-NJVX-crhB7QRYhiix03illJOVAOyck",
    "d": "VEmDZpDXXK8p8N0Cndsxs924q6nS1RXFASRl6BfUqdw",
}
RFC_7518_HEADER: dict[str, Any] = {
    "alg": "ECDH-ES",
    "enc": "A128GCM",
    "apu": "QWxpY2U",
    "apv": "Qm9i",
    "epk": {
        "kty": "EC",
        "crv": "P-256",
        "x": "gI0GAILBdu7T53akrFmMyGcsF3n5dO7MmwNBHKW5SV0",
        "y": "SLW_xSffzlPWrHEVI30DHM_4egVwt3NQqeUD7nMFpps",
    },
}
RFC_7518_DERIVED_KEY = "VqqN6vgjbSBcIijNcacQGg"


def test_the_signature_of_rfc_7515_a3_fits_and_a_changed_payload_does_not() -> None:
    header, payload, signature = RFC_7515_JWS.split(".")
    key = jws.public_key_from_jwk(RFC_7515_KEY)
    jws.check_signature(key, from_base64url(signature), f"{header}.{payload}".encode())
    with pytest.raises(JwsRefused, match="does not fit"):
        jws.check_signature(key, from_base64url(signature), f"{header}.{payload}A".encode())


def test_the_message_of_rfc_7515_a3_is_refused_at_intake_because_its_header_names_no_key() -> None:
    with pytest.raises(JwsRefused) as refused:
        jws.DeviceKey.from_jwk(RFC_7515_KEY).verify(RFC_7515_JWS)
    assert refused.value.code == "jws.header_fields"


def test_the_thumbprint_of_rfc_7638_comes_out() -> None:
    assert jws.thumbprint(RFC_7638_KEY) == "NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs"


def rfc_6979_key() -> ec.EllipticCurvePrivateKey:
    return ec.derive_private_key(int(RFC_6979["private_d"], 16), ec.SECP256R1())


def test_the_public_point_of_rfc_6979_is_written_as_a_key() -> None:
    written = jws.public_jwk(rfc_6979_key().public_key())
    assert [from_base64url(written[name]).hex().upper() for name in "xy"] == [
        RFC_6979["public_x"],
        RFC_6979["public_y"],
    ]


@pytest.mark.parametrize("case", RFC_6979["sha256"], ids=lambda case: case["message"])
def test_the_signatures_of_rfc_6979_fit_their_message_and_no_other(case: dict[str, str]) -> None:
    raw = bytes.fromhex(case["r"].rjust(64, "0") + case["s"].rjust(64, "0"))
    jws.check_signature(rfc_6979_key().public_key(), raw, case["message"].encode())
    with pytest.raises(JwsRefused):
        jws.check_signature(rfc_6979_key().public_key(), raw, case["message"].encode() + b"A")


def test_signing_twice_gives_the_same_text_and_joserfc_accepts_it() -> None:
    key = rfc_6979_key()
    kid = jws.public_jwk(key.public_key())["kid"]
    compact = jws.sign(b'{"a":1}', key, kid, jws.EVENT_TYPE)
    assert compact == jws.sign(b'{"a":1}', key, kid, jws.EVENT_TYPE)
    opened = joserfc_jws.deserialize_compact(compact, ECKey.import_key(key), algorithms=["ES256"])
    assert opened.payload == b'{"a":1}'
    assert opened.headers() == {"alg": "ES256", "kid": kid, "typ": jws.EVENT_TYPE}


def test_what_joserfc_signs_verifies_here() -> None:
    key = rfc_6979_key()
    device = jws.DeviceKey.from_jwk(jws.public_jwk(key.public_key()))
    header = {"alg": "ES256", "kid": device.kid, "typ": jws.EVENT_TYPE}
    compact = joserfc_jws.serialize_compact(header, b"payload", ECKey.import_key(key), algorithms=["ES256"])
    assert device.verify(compact).payload_bytes == b"payload"


def derived(header: dict[str, Any], own: ec.EllipticCurvePrivateKey, length: int) -> bytes:
    """The key of RFC 7518 section 4.6: what both agree on, through the Concat KDF with the header's names."""
    agreed = own.exchange(ec.ECDH(), jws.public_key_from_jwk(header["epk"]))
    parts = [header["enc"].encode(), *(from_base64url(header.get(name, "")) for name in ("apu", "apv"))]
    told = b"".join(len(part).to_bytes(4, "big") + part for part in parts)
    return ConcatKDFHash(SHA256(), length, told + (8 * length).to_bytes(4, "big")).derive(agreed)


def test_a_pin_under_the_key_that_rfc_7518_derives_is_opened() -> None:
    """The derivation gives the key that appendix C prints, and a PIN sealed under it by hand opens here."""
    bob = ECKey.import_key(dict(RFC_7518_BOB)).private_key
    assert to_base64url(derived(RFC_7518_HEADER, bob, 16)) == RFC_7518_DERIVED_KEY
    bound = {"event": "ab" * 32, "device": "D" * 43, "person": "mara"}
    header = {"alg": "ECDH-ES", "enc": "A256GCM", "typ": jwe.PIN_SEAL_TYPE, "kid": "bob", **bound}
    header["epk"] = RFC_7518_HEADER["epk"]
    protected = to_base64url(json.dumps(header).encode())
    sealed = AESGCM(derived(header, bob, 32)).encrypt(bytes(12), b"4711", protected.encode())
    parts = [protected, "", *map(to_base64url, (bytes(12), sealed[:-16], sealed[-16:]))]
    ring = cast("KeyRing", SimpleNamespace(pin_keys={"bob": bob}))
    assert jwe.open_pin(".".join(parts), ring).pin == "4711"


RAW_CASES = json.loads((Path(__file__).parent / "data" / "ecdsa_p256_raw.json").read_text())


def test_raw_signatures_are_taken_and_refused_as_the_wycheproof_cases_say() -> None:
    """262 cases made to trip verifiers up:
    r and s out of range, of other lengths, at the edges of the arithmetic.
    """
    keys = [
        ec.EllipticCurvePublicNumbers(int(text[:64], 16), int(text[64:], 16), ec.SECP256R1()).public_key()
        for text in RAW_CASES["public_keys_x_y"]
    ]
    cases = RAW_CASES["cases_number_key_message_signature_valid"]
    assert len(cases) == 262
    wrong = [case[0] for case in cases if takes(keys[case[1]], case[2], case[3]) != case[4]]
    assert wrong == []


def takes(key: ec.EllipticCurvePublicKey, message: str, signature: str) -> bool:
    try:
        jws.check_signature(key, bytes.fromhex(signature), bytes.fromhex(message))
    except JwsRefused:
        return False
    return True
