"""What intake refuses of signed messages, each case by itself."""

import json
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from hypothesis import given
from hypothesis import strategies as st

from webapp.proof.errors import JwsRefused
from webapp.proof.keys import jws
from webapp.proof.keys.encoding import from_base64url, to_base64url

ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"


@pytest.fixture(scope="module")
def device(tablet_key: ec.EllipticCurvePrivateKey) -> jws.DeviceKey:
    return jws.DeviceKey.from_jwk(jws.public_jwk(tablet_key.public_key()))


@pytest.fixture(scope="module")
def good(tablet_key: ec.EllipticCurvePrivateKey, device: jws.DeviceKey) -> str:
    return jws.sign(b'{"n":1}', tablet_key, device.kid, jws.EVENT_TYPE)


def refused(device: jws.DeviceKey, compact: str, code: str) -> None:
    with pytest.raises(JwsRefused) as caught:
        device.verify(compact)
    assert caught.value.code == code
    assert str(caught.value)


def signed_with_header(key: ec.EllipticCurvePrivateKey, header: str) -> str:
    """A message with any header at all, properly signed."""
    raw_of_good = jws.sign(b"{}", key, "k", "t").split(".")
    signing_input = f"{to_base64url(header.encode())}.{raw_of_good[1]}"
    r, s = jws.decode_dss_signature(key.sign(signing_input.encode(), ec.ECDSA(SHA256())))
    return f"{signing_input}.{to_base64url(r.to_bytes(32, 'big') + s.to_bytes(32, 'big'))}"


def test_a_good_message_gives_header_payload_and_the_signed_bytes(device: jws.DeviceKey, good: str) -> None:
    verified = device.verify(good)
    assert verified.header == {"alg": "ES256", "kid": device.kid, "typ": jws.EVENT_TYPE}
    assert verified.payload_bytes == b'{"n":1}'
    assert verified.signed_bytes.decode() == good.rpartition(".")[0]
    assert verified.event_id == jws.event_id(good)


def test_odd_but_valid_json_keeps_its_bytes(
    tablet_key: ec.EllipticCurvePrivateKey, device: jws.DeviceKey
) -> None:
    odd = b' { "b" : 1.0e0 ,\n\t"a" : "\\u00e9\\ud83d\\ude00" } '
    assert device.verify(jws.sign(odd, tablet_key, device.kid, jws.EVENT_TYPE)).payload_bytes == odd


def test_the_other_valid_signature_of_the_same_message_gives_the_same_event_id(
    device: jws.DeviceKey, good: str
) -> None:
    head, _, signature = good.rpartition(".")
    raw = from_base64url(signature)
    mirrored = raw[:32] + (ORDER - int.from_bytes(raw[32:], "big")).to_bytes(32, "big")
    other = f"{head}.{to_base64url(mirrored)}"
    assert other != good
    assert device.verify(other).event_id == device.verify(good).event_id


def test_a_changed_payload_is_refused(device: jws.DeviceKey, good: str) -> None:
    header, _, signature = good.split(".")
    refused(device, f"{header}.{to_base64url(b'{}')}.{signature}", "jws.signature_wrong")


def test_a_signature_in_der_form_is_refused(
    tablet_key: ec.EllipticCurvePrivateKey, device: jws.DeviceKey, good: str
) -> None:
    head = good.rpartition(".")[0]
    der = tablet_key.sign(head.encode(), ec.ECDSA(SHA256()))
    refused(device, f"{head}.{to_base64url(der)}", "jws.signature_form")


@pytest.mark.parametrize("raw", [bytes(64), b"\xff" * 64, b"\x00" * 32 + b"\x01" * 32])
def test_numbers_outside_the_curves_order_are_no_signature(
    device: jws.DeviceKey, good: str, raw: bytes
) -> None:
    refused(device, f"{good.rpartition('.')[0]}.{to_base64url(raw)}", "jws.signature_wrong")


@pytest.mark.parametrize("parts", [1, 2, 4])
def test_a_message_of_other_than_three_parts_is_refused(device: jws.DeviceKey, good: str, parts: int) -> None:
    refused(device, ".".join((good.split(".") * 2)[:parts]), "jws.malformed")


def test_letters_outside_ascii_are_refused(device: jws.DeviceKey, good: str) -> None:
    refused(device, good + "é", "jws.malformed")


@pytest.mark.parametrize(
    "change", [lambda part: part + "=", lambda part: part + "\n", lambda part: "+" + part[1:]]
)
@pytest.mark.parametrize("place", [1, 2])
def test_every_second_spelling_of_base64url_is_refused(
    device: jws.DeviceKey, good: str, change: Any, place: int
) -> None:
    parts = good.split(".")
    parts[place] = change(parts[place])
    refused(device, ".".join(parts), "jws.not_base64url")


def test_unused_last_bits_of_the_signature_have_to_be_zero(device: jws.DeviceKey, good: str) -> None:
    last = ALPHABET[ALPHABET.index(good[-1]) + 1]
    refused(device, good[:-1] + last, "jws.not_base64url")


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ('{"alg":"ES256","kid":"KID","typ":"TYP","crit":[]}', "jws.header_fields"),
        ('{"alg":"ES256","kid":"KID","typ":"TYP","jwk":{}}', "jws.header_fields"),
        ('{"alg":"ES256","kid":"KID"}', "jws.header_fields"),
        ('["alg","kid","typ"]', "jws.header_fields"),
        ('{"alg":"none","kid":"KID","typ":"TYP"}', "jws.algorithm"),
        ('{"alg":"HS256","kid":"KID","typ":"TYP"}', "jws.algorithm"),
        ('{"alg":"es256","kid":"KID","typ":"TYP"}', "jws.algorithm"),
        ('{"alg":"ES256","kid":7,"typ":"TYP"}', "jws.algorithm"),
        ('{"alg":"ES256","alg":"ES256","kid":"KID","typ":"TYP"}', "jws.header_not_json"),
        ('{"alg":"ES256","kid":"KID","typ":"TYP"', "jws.header_not_json"),
        ('{"alg":"ES256","kid":"KID","typ":NaN}', "jws.header_not_json"),
        ("[" * 300, "jws.header_not_json"),
        ('{"alg":"ES256","kid":"another","typ":"TYP"}', "jws.other_key"),
        ('{"alg":"ES256","kid":"KID","typ":"zerokeep-receipt+jws"}', "jws.wrong_type"),
        ('{"alg":"ES256","kid":"KID","typ":"' + "T" * 600 + '"}', "jws.too_long"),
    ],
)
def test_a_header_other_than_the_one_asked_for_is_refused(
    tablet_key: ec.EllipticCurvePrivateKey, device: jws.DeviceKey, header: str, code: str
) -> None:
    text = header.replace("KID", device.kid).replace("TYP", jws.EVENT_TYPE)
    refused(device, signed_with_header(tablet_key, text), code)


def test_a_payload_of_64_kib_is_refused_and_one_byte_less_is_not(
    tablet_key: ec.EllipticCurvePrivateKey, device: jws.DeviceKey
) -> None:
    longest = b"x" * (64 * 1024 - 1)
    assert device.verify(jws.sign(longest, tablet_key, device.kid, jws.EVENT_TYPE)).payload_bytes == longest
    refused(device, jws.sign(longest + b"x", tablet_key, device.kid, jws.EVENT_TYPE), "jws.too_long")


def test_a_header_of_512_characters_is_looked_at_and_one_more_is_too_long(device: jws.DeviceKey) -> None:
    refused(device, "A" * 512 + ".e30.AA", "jws.header_not_json")
    refused(device, "A" * 513 + ".e30.AA", "jws.too_long")


def test_an_endless_message_is_refused_before_it_is_read(device: jws.DeviceKey) -> None:
    refused(device, "A" * 200_000, "jws.too_long")


def test_the_key_id_can_be_read_before_the_key_is_known(device: jws.DeviceKey, good: str) -> None:
    assert jws.key_id(good) == device.kid


@given(st.data())
def test_no_single_changed_character_goes_through(data: st.DataObject) -> None:
    key = ec.derive_private_key(90_001, ec.SECP256R1())
    device = jws.DeviceKey.from_jwk(jws.public_jwk(key.public_key()))
    good = jws.sign(b'{"n":1}', key, device.kid, jws.EVENT_TYPE)
    place = data.draw(st.integers(0, len(good) - 1))
    letter = data.draw(st.characters(max_codepoint=127).filter(lambda letter: letter != good[place]))
    with pytest.raises(JwsRefused):
        device.verify(good[:place] + letter + good[place + 1 :])


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"crv": "P-384"}, "jwk.not_p256"),
        ({"kty": "OKP"}, "jwk.not_p256"),
        ({"d": "AAAA"}, "jwk.private"),
        ({"kid": "A" * 43}, "jwk.false_name"),
        ({"x": "A" * 43}, "jwk.off_curve"),
        ({"x": "AAAA"}, "jwk.not_p256"),
        ({"x": "A" * 42 + "="}, "jws.not_base64url"),
        ({"y": 7}, "jwk.incomplete"),
    ],
)
def test_an_unusable_public_key_is_refused(
    tablet_key: ec.EllipticCurvePrivateKey, change: dict[str, Any], code: str
) -> None:
    jwk = jws.public_jwk(tablet_key.public_key())
    if "kid" not in change:
        del jwk["kid"]
    with pytest.raises(JwsRefused) as caught:
        jws.DeviceKey.from_jwk(json.loads(json.dumps(jwk | change)))
    assert caught.value.code == code
    assert str(caught.value)


def test_what_a_browser_adds_to_an_exported_key_does_no_harm(tablet_key: ec.EllipticCurvePrivateKey) -> None:
    jwk = jws.public_jwk(tablet_key.public_key())
    exported = {**jwk, "ext": True, "key_ops": ["verify"]}
    assert jws.DeviceKey.from_jwk(exported).kid == jwk["kid"]
