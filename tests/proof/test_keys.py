"""Keys on disk: what is written, what opens, and what each refusal is called."""

import json
import stat
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.x509.oid import ExtensionOID

from tests.proof.made_up import CHEAP, PASSPHRASE, counted_bytes, numbered_keys
from webapp.domain.plain.json_strict import canonical_bytes
from webapp.proof.errors import DamagedKeyFileError, KeyFolderError, WrongPassphraseError
from webapp.proof.keys.key_file import unwrap, wrap
from webapp.proof.keys.key_ring import FILE_NAME, KeyRing, new_head_signer, seal_certificate


def make(folder: Path, now: datetime, name: str = "Millbrook Teaching Shop") -> KeyRing:
    return KeyRing.create(
        folder,
        PASSPHRASE,
        common_name=name,
        now=now,
        new_key=numbered_keys(),
        random_bytes=counted_bytes(),
        cost=CHEAP,
    )


def test_what_was_made_opens_again_with_the_same_keys(tmp_path: Path, now: datetime) -> None:
    made = make(tmp_path / "keys", now)
    opened = KeyRing.open(tmp_path / "keys", PASSPHRASE)
    assert opened.pin_jwk == made.pin_jwk
    assert opened.receipt_jwk == made.receipt_jwk
    assert opened.pepper == made.pepper
    assert opened.head_keys == made.head_keys
    assert opened.seal_certificate == made.seal_certificate
    assert opened.seal_key.private_numbers() == made.seal_key.private_numbers()


def test_each_purpose_has_its_own_key(keyring: KeyRing) -> None:
    private = [keyring.seal_key, keyring.receipt_key, *keyring.pin_keys.values()]
    assert len({key.private_numbers().private_value for key in private}) == 3
    assert len(keyring.pepper) == 32
    raw = {key.private_numbers().private_value.to_bytes(32, "big") for key in private}
    assert keyring.head_signer.key.private_bytes_raw() not in raw | {keyring.pepper}


def test_keys_from_before_heads_were_signed_get_one_for_them_once(tmp_path: Path, now: datetime) -> None:
    made = make(tmp_path / "keys", now)
    secrets = json.loads(unwrap((tmp_path / "keys" / FILE_NAME).read_bytes(), PASSPHRASE))
    former = {name: value for name, value in secrets.items() if "head" not in name}
    (tmp_path / "keys" / FILE_NAME).write_bytes(
        wrap(canonical_bytes(former), PASSPHRASE, counted_bytes(), CHEAP)
    )
    with ThreadPoolExecutor(2) as at_once:
        opened = list(at_once.map(lambda _: KeyRing.open(tmp_path / "keys", PASSPHRASE), range(2)))
    assert len({ring.head_keys for ring in opened}) == 1
    assert opened[0].head_signer.name.startswith("zerokeep.invalid/")
    assert opened[0].receipt_jwk == made.receipt_jwk
    assert made.head_signer.name != opened[0].head_signer.name
    assert stat.S_IMODE((tmp_path / "keys" / FILE_NAME).stat().st_mode) == 0o600


def test_folder_and_file_are_for_the_owner_alone(tmp_path: Path, now: datetime) -> None:
    make(tmp_path / "keys", now)
    assert stat.S_IMODE((tmp_path / "keys").stat().st_mode) == 0o700
    assert [path.name for path in (tmp_path / "keys").iterdir()] == [FILE_NAME]
    assert stat.S_IMODE((tmp_path / "keys" / FILE_NAME).stat().st_mode) == 0o600


def test_no_secret_lies_readable_in_the_file(tmp_path: Path, now: datetime) -> None:
    made = make(tmp_path / "keys", now)
    data = (tmp_path / "keys" / FILE_NAME).read_bytes()
    der = made.seal_key.private_bytes(
        serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    assert made.pepper not in data
    assert der not in data
    assert set(json.loads(data)) == {
        *(
            "domain",
            "derivation",
            "cipher",
            "passes",
            "memory_kib",
            "lanes",
            "salt",
            "nonce",
            "sealed",
            "sha256",
        )
    }
    assert "pepper" not in repr(made)


@pytest.mark.parametrize("place", ["", FILE_NAME])
def test_keys_that_others_may_read_are_refused(tmp_path: Path, now: datetime, place: str) -> None:
    make(tmp_path / "keys", now)
    (tmp_path / "keys" / place).chmod(0o750)
    with pytest.raises(KeyFolderError) as caught:
        KeyRing.open(tmp_path / "keys", PASSPHRASE)
    assert caught.value.code == "keys.readable_by_others"


def test_a_wrong_passphrase_is_named(tmp_path: Path, now: datetime) -> None:
    make(tmp_path / "keys", now)
    with pytest.raises(WrongPassphraseError, match="does not open"):
        KeyRing.open(tmp_path / "keys", PASSPHRASE + " ")


def test_a_flipped_bit_anywhere_is_damage_and_never_a_wrong_passphrase(tmp_path: Path, now: datetime) -> None:
    make(tmp_path / "keys", now)
    path = tmp_path / "keys" / FILE_NAME
    whole = path.read_bytes()
    plain_spaces = {index for index, byte in enumerate(whole) if byte in b" \n"}
    for place in range(0, len(whole), 7):
        if place in plain_spaces:
            continue
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0x01]) + whole[place + 1 :])
        with pytest.raises(DamagedKeyFileError):
            KeyRing.open(tmp_path / "keys", PASSPHRASE)


@pytest.mark.parametrize("length", [0, 1, 200])
def test_a_file_cut_short_is_damage(tmp_path: Path, now: datetime, length: int) -> None:
    make(tmp_path / "keys", now)
    path = tmp_path / "keys" / FILE_NAME
    path.write_bytes(path.read_bytes()[:length])
    with pytest.raises(DamagedKeyFileError, match="backup"):
        KeyRing.open(tmp_path / "keys", PASSPHRASE)


@pytest.mark.parametrize(("name", "value"), [("memory_kib", 2**40), ("passes", 10**6), ("lanes", 0)])
def test_a_file_that_asks_for_endless_work_is_refused(
    tmp_path: Path, now: datetime, name: str, value: int
) -> None:
    make(tmp_path / "keys", now)
    path = tmp_path / "keys" / FILE_NAME
    body = {**json.loads(path.read_bytes()), name: value}
    del body["sha256"]
    path.write_bytes(canonical_bytes({**body, "sha256": sha256(canonical_bytes(body)).hexdigest()}))
    with pytest.raises(DamagedKeyFileError, match="more work"):
        KeyRing.open(tmp_path / "keys", PASSPHRASE)


def test_settings_made_cheaper_in_the_file_do_not_open_it(tmp_path: Path, now: datetime) -> None:
    make(tmp_path / "keys", now)
    path = tmp_path / "keys" / FILE_NAME
    body = {**json.loads(path.read_bytes()), "passes": 2}
    del body["sha256"]
    path.write_bytes(canonical_bytes({**body, "sha256": sha256(canonical_bytes(body)).hexdigest()}))
    with pytest.raises(WrongPassphraseError):
        KeyRing.open(tmp_path / "keys", PASSPHRASE)


def test_no_keys_and_keys_that_exist_already_are_named(tmp_path: Path, now: datetime) -> None:
    with pytest.raises(KeyFolderError, match="no keys"):
        KeyRing.open(tmp_path / "keys", PASSPHRASE)
    make(tmp_path / "keys", now)
    before = (tmp_path / "keys" / FILE_NAME).read_bytes()
    with pytest.raises(KeyFolderError, match="already"):
        make(tmp_path / "keys", now)
    assert (tmp_path / "keys" / FILE_NAME).read_bytes() == before


def test_an_empty_passphrase_writes_nothing(tmp_path: Path, keyring: KeyRing) -> None:
    with pytest.raises(KeyFolderError, match="passphrase"):
        keyring.save(tmp_path / "keys", "", cost=CHEAP)
    assert not (tmp_path / "keys").exists()


def test_a_save_that_was_cut_off_leaves_the_former_keys(tmp_path: Path, now: datetime) -> None:
    made = make(tmp_path / "keys", now)
    (tmp_path / "keys" / f"{FILE_NAME}.new").write_bytes(b"half a file")
    assert KeyRing.open(tmp_path / "keys", PASSPHRASE).pepper == made.pepper
    made.save(tmp_path / "keys", "another passphrase", random_bytes=counted_bytes(), cost=CHEAP)
    assert KeyRing.open(tmp_path / "keys", "another passphrase").pepper == made.pepper


def test_a_changed_ring_keeps_former_keys_and_certificates_through_a_save(
    tmp_path: Path, now: datetime
) -> None:
    made = make(tmp_path / "keys", now)
    new_key = numbered_keys(9001)
    seal_key = new_key()
    certificate = seal_certificate(seal_key, "Millbrook Teaching Shop", now, 77)
    changed = made.with_new_pin_key(new_key()).with_new_seal_key(seal_key, certificate)
    changed = changed.with_new_head_key(new_head_signer(name=made.head_signer.name))
    changed.save(tmp_path / "keys", PASSPHRASE, random_bytes=counted_bytes(), cost=CHEAP)
    opened = KeyRing.open(tmp_path / "keys", PASSPHRASE)
    assert opened.trusted_certificates == (certificate, made.seal_certificate)
    assert set(opened.pin_keys) == {made.pin_key_id, changed.pin_key_id}
    assert opened.pin_key_id == changed.pin_key_id
    assert opened.head_keys == (changed.head_signer.verifier, made.head_signer.verifier)
    assert len({key.name for key in opened.head_keys}) == 1


def test_only_a_former_pin_key_can_be_destroyed(keyring: KeyRing) -> None:
    for kid in (keyring.pin_key_id, "unknown"):
        with pytest.raises(KeyFolderError, match="former"):
            keyring.without_pin_key(kid)


def test_the_seals_certificate_is_for_documents_only(keyring: KeyRing, now: datetime) -> None:
    certificate = keyring.seal_certificate
    certificate.verify_directly_issued_by(certificate)
    assert certificate.subject.rfc4514_string() == "CN=Millbrook Teaching Shop"
    assert certificate.not_valid_before_utc == now
    assert certificate.not_valid_after_utc == now + timedelta(days=3650)
    extensions = certificate.extensions
    constraints = extensions.get_extension_for_oid(ExtensionOID.BASIC_CONSTRAINTS)
    assert constraints.critical
    assert not constraints.value.ca
    usage = extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical
    assert usage.value.digital_signature
    assert usage.value.content_commitment
    assert not usage.value.key_cert_sign
    purposes = extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert [purpose.dotted_string for purpose in purposes] == ["1.3.6.1.5.5.7.3.36"]


@pytest.mark.parametrize("name", ["", "x" * 65])
def test_a_name_that_fits_no_certificate_is_refused(tmp_path: Path, now: datetime, name: str) -> None:
    with pytest.raises(KeyFolderError, match="1 to 64"):
        make(tmp_path / "keys", now, name)
