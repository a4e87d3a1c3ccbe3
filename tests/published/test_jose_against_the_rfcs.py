"""Signatures, key names and sealed PINs against the examples printed in the RFCs.

Sources: RFC 7515 appendix A.3 (ES256), RFC 7638 section 3.1 (thumbprint), RFC 7518 appendix C (ECDH-ES), all
three typed from memory: a single wrong character would make the signature, the thumbprint or the derived key
fail. RFC 6979 appendix A.2.5 (ECDSA on P-256) from data/ecdsa_p256.json and the Wycheproof cases from
data/ecdsa_p256_raw.json, which name where they were read.
"""

import json
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from joserfc import jwe as joserfc_jwe
from joserfc import jws as joserfc_jws
from joserfc.jwk import ECKey

from webapp.proof import jws
from webapp.proof.encoding import from_base64url, to_base64url
from webapp.proof.errors import JwsRefused

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
RFC_7518_HEADER = {
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


def test_the_public_point_of_rfc_6979_belongs_to_its_private_key() -> None:
    numbers = rfc_6979_key().public_key().public_numbers()
    assert (numbers.x, numbers.y) == (int(RFC_6979["public_x"], 16), int(RFC_6979["public_y"], 16))


@pytest.mark.parametrize("case", RFC_6979["sha256"], ids=lambda case: case["message"])
def test_deterministic_signatures_are_those_of_rfc_6979_and_verify_here(case: dict[str, str]) -> None:
    r, s = int(case["r"], 16), int(case["s"], 16)
    made = rfc_6979_key().sign(case["message"].encode(), ec.ECDSA(SHA256(), deterministic_signing=True))
    assert decode_dss_signature(made) == (r, s)
    raw = r.to_bytes(32, "big") + s.to_bytes(32, "big")
    jws.check_signature(rfc_6979_key().public_key(), raw, case["message"].encode())


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


def test_the_library_that_opens_sealed_pins_derives_the_key_of_rfc_7518_appendix_c() -> None:
    """A message is made by hand with the key that the RFC prints;
    it opens only if the same key is derived.
    """
    protected = to_base64url(json.dumps(RFC_7518_HEADER).encode())
    sealed = AESGCM(from_base64url(RFC_7518_DERIVED_KEY)).encrypt(bytes(12), b"4711", protected.encode())
    parts = [protected, "", to_base64url(bytes(12)), to_base64url(sealed[:-16]), to_base64url(sealed[-16:])]
    bob = ECKey.import_key(dict(RFC_7518_BOB))
    opened = joserfc_jwe.decrypt_compact(".".join(parts), bob, algorithms=["ECDH-ES", "A128GCM"])
    assert opened.plaintext == b"4711"


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
