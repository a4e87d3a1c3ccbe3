"""What opens a sealed PIN, and what does not."""

import json
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from hypothesis import given
from hypothesis import strategies as st
from joserfc import jwe as joserfc_jwe
from joserfc.jwk import ECKey

from tests.proof.made_up import numbered_keys
from webapp.proof.errors import PinSealRefused
from webapp.proof.keys import jwe
from webapp.proof.keys.encoding import from_base64url, to_base64url
from webapp.proof.keys.jws import public_jwk
from webapp.proof.keys.key_ring import KeyRing

BINDING = {"event_id": "ab" * 32, "device_id": "D" * 43, "person_id": "mara"}


def sealed(keyring: KeyRing, pin: str = "4711", **changes: str) -> str:
    return jwe.seal_pin(pin, keyring.pin_jwk, **{**BINDING, **changes})


def with_header(compact: str, **changes: Any) -> str:
    header, *rest = compact.split(".")
    values = {**json.loads(from_base64url(header)), **changes}
    kept = {name: value for name, value in values.items() if value is not None}
    return ".".join([to_base64url(json.dumps(kept).encode()), *rest])


def code_of(compact: str, keyring: KeyRing) -> str:
    with pytest.raises(PinSealRefused) as caught:
        jwe.open_pin(compact, keyring)
    assert str(caught.value)
    return caught.value.code


def test_a_sealed_pin_opens_and_tells_what_it_was_sealed_for(keyring: KeyRing) -> None:
    opened = jwe.open_pin_for(sealed(keyring, "0420"), keyring, **BINDING)
    assert opened == jwe.OpenedPin("0420", "ab" * 32, "D" * 43, "mara", keyring.pin_key_id)


def test_the_same_pin_never_looks_the_same_twice(keyring: KeyRing) -> None:
    first, second = sealed(keyring).split("."), sealed(keyring).split(".")
    assert first[0] != second[0]
    assert first[3] != second[3]


def test_the_pin_shows_neither_in_the_seal_nor_in_the_repr(keyring: KeyRing) -> None:
    compact = sealed(keyring, "86421357")
    assert "86421357" not in repr(jwe.open_pin(compact, keyring))
    assert not any(b"86421357" in from_base64url(part) for part in compact.split("."))


@pytest.mark.parametrize(
    ("changes", "differs"),
    [
        ({"event_id": "cd" * 32}, ["event"]),
        ({"device_id": "E" * 43}, ["device"]),
        ({"person_id": "jonas"}, ["person"]),
    ],
)
def test_a_seal_moved_to_another_signature_is_refused(
    keyring: KeyRing, changes: dict[str, str], differs: list[str]
) -> None:
    with pytest.raises(PinSealRefused) as caught:
        jwe.open_pin_for(sealed(keyring, **changes), keyring, **BINDING)
    assert caught.value.code == "pin_seal.moved"
    assert caught.value.fields == {"differs": ", ".join(differs)}


@pytest.mark.parametrize("changes", [{"event": "cd" * 32}, {"device": "E" * 43}, {"person": "jonas"}])
def test_a_binding_written_over_afterwards_no_longer_opens(keyring: KeyRing, changes: dict[str, str]) -> None:
    assert code_of(with_header(sealed(keyring), **changes), keyring) == "pin_seal.altered"


@pytest.mark.parametrize(
    "changes",
    [
        {"alg": "dir"},
        {"alg": "ECDH-ES+A256KW"},
        {"enc": "A128GCM"},
        {"typ": "JWE"},
        {"zip": "DEF"},
        {"crit": ["event"], "apu": "AA"},
        {"person": None},
        {"person": 7},
        {"event": "AB" * 32},
        {"epk": "point"},
        {"epk": {"kty": "EC", "crv": "P-256", "x": "A" * 43, "y": "A" * 43}},
        {"epk": {"kty": "EC", "crv": "P-384", "x": "A" * 43, "y": "A" * 43}},
    ],
)
def test_a_header_other_than_the_one_asked_for_is_malformed(
    keyring: KeyRing, changes: dict[str, Any]
) -> None:
    assert code_of(with_header(sealed(keyring), **changes), keyring) == "pin_seal.malformed"


def test_a_one_time_key_with_more_than_a_point_is_malformed(keyring: KeyRing) -> None:
    compact = sealed(keyring)
    epk = json.loads(from_base64url(compact.split(".")[0]))["epk"]
    assert code_of(with_header(compact, epk={**epk, "use": "enc"}), keyring) == "pin_seal.malformed"


def test_a_name_twice_in_the_header_is_malformed(keyring: KeyRing) -> None:
    header, *rest = sealed(keyring).split(".")
    doubled = b'{"person":"jonas",' + from_base64url(header)[1:]
    assert code_of(".".join([to_base64url(doubled), *rest]), keyring) == "pin_seal.malformed"


def test_a_wrapped_key_or_another_nonce_length_is_malformed(keyring: KeyRing) -> None:
    parts = sealed(keyring).split(".")
    assert code_of(".".join([parts[0], "AAAA", *parts[2:]]), keyring) == "pin_seal.malformed"
    assert code_of(".".join([*parts[:2], "AAAA", *parts[3:]]), keyring) == "pin_seal.malformed"
    assert code_of(".".join(parts[:4]), keyring) == "pin_seal.malformed"


def test_an_empty_or_endless_pin_is_malformed(keyring: KeyRing) -> None:
    assert code_of(sealed(keyring, ""), keyring) == "pin_seal.malformed"
    assert code_of(sealed(keyring, "9" * 129), keyring) == "pin_seal.malformed"
    assert code_of(sealed(keyring, "9" * 4000), keyring) == "pin_seal.malformed"


@pytest.mark.parametrize(("beyond", "why"), [(0, "pin"), (1, "not_compact")])
def test_a_seal_of_the_largest_length_is_read_and_a_longer_one_is_not(
    keyring: KeyRing, beyond: int, why: str
) -> None:
    wanted = 2048 + beyond
    # Base64url leaves out one length in four: a person with another name fills it.
    seals = (sealed(keyring, "9" * n, person_id="m" * m) for n in range(900, 1200) for m in (1, 2))
    compact = next(seal for seal in seals if len(seal) == wanted)
    with pytest.raises(PinSealRefused) as caught:
        jwe.open_pin(compact, keyring)
    assert caught.value.fields == {"why_code": f"pin_seal.why.{why}"}


def test_a_seal_to_a_key_that_is_gone_is_named(keyring: KeyRing) -> None:
    stranger = ec.derive_private_key(5, ec.SECP256R1())
    compact = jwe.seal_pin("4711", public_jwk(stranger.public_key()), **BINDING)
    assert code_of(compact, keyring) == "pin_seal.unknown_key"


def test_a_stranger_who_copies_our_key_id_gets_nothing(keyring: KeyRing) -> None:
    stranger = ec.derive_private_key(5, ec.SECP256R1())
    jwk = {**public_jwk(stranger.public_key()), "kid": keyring.pin_key_id}
    assert code_of(jwe.seal_pin("4711", jwk, **BINDING), keyring) == "pin_seal.altered"


def test_after_a_change_of_keys_old_seals_open_until_the_old_key_is_destroyed(keyring: KeyRing) -> None:
    old = sealed(keyring)
    changed = keyring.with_new_pin_key(numbered_keys(8001)())
    assert changed.pin_key_id != keyring.pin_key_id
    assert jwe.open_pin(old, changed).pin == jwe.open_pin(sealed(changed), changed).pin == "4711"
    assert code_of(old, changed.without_pin_key(keyring.pin_key_id)) == "pin_seal.unknown_key"


def test_a_seal_made_by_another_library_call_opens(keyring: KeyRing) -> None:
    """Plain joserfc with no help of this room, as any other client would make it."""
    header = {
        "alg": "ECDH-ES",
        "enc": "A256GCM",
        "typ": "zerokeep-pin+jwe",
        "kid": keyring.pin_key_id,
        "event": "ab" * 32,
        "device": "D" * 43,
        "person": "mara",
    }
    registry = joserfc_jwe.JWERegistry(algorithms=["ECDH-ES", "A256GCM"], strict_check_header=False)
    key = ECKey.import_key({name: value for name, value in keyring.pin_jwk.items() if name != "kid"})
    compact = joserfc_jwe.encrypt_compact(header, "ümlaut 1".encode(), key, registry=registry)
    assert jwe.open_pin_for(compact, keyring, **BINDING).pin == "ümlaut 1"


@given(st.data())
def test_no_single_changed_character_opens(keyring: KeyRing, data: st.DataObject) -> None:
    good = sealed(keyring)
    place = data.draw(st.integers(0, len(good) - 1))
    letter = data.draw(st.sampled_from("ABCxyz019-_.=~").filter(lambda letter: letter != good[place]))
    with pytest.raises(PinSealRefused):
        jwe.open_pin(good[:place] + letter + good[place + 1 :], keyring)
