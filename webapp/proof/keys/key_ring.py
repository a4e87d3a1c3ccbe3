"""The server's keys, and how they lie on disk.

Rules:
- one key for one purpose: the seal of PDFs, the opening of PINs, the signing of receipts, the signing of the
  ledger's heads, the pepper of PIN hashes; none of them is the key of the web server's TLS;
- heads are signed under a name of the ledger that was drawn by chance once and stays when the key changes. A
  ring from before heads were signed gets key and name when it is first opened, and is saved with them;
- at rest they are wrapped under a passphrase (see key_file.py); the folder is 0700, the file 0600;
- the seal's certificate says what it is for and no more: digital signature and content commitment (RFC 5280
  section 4.2.1.3), document signing (RFC 9336), no authority over other certificates.

Losing the passphrase loses the keys. Records that are sealed already still verify: that takes certificates
only.
"""

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.x509.oid import NameOID

from webapp.domain.plain.json_strict import canonical_bytes, read_json
from webapp.proof.errors import KeyFolderError
from webapp.proof.keys.encoding import from_base64url, to_base64url
from webapp.proof.keys.jws import COORDINATE_BYTES, public_jwk
from webapp.proof.keys.key_file import (
    USUAL_COST,
    RandomBytes,
    WrappingCost,
    alone_in,
    unwrap,
    wrap,
    write_whole,
)
from webapp.proof.ledger.signed_note import NoteSigner, NoteVerifier

FILE_NAME = "keys.json"
PEPPER_BYTES = 32
HEAD_KEY_BYTES = 32
LEDGER_NAME_BYTES = 8
# A name of nobody's (RFC 2606): heads ask for the form of an address, and it need not lead anywhere.
LEDGER_NAMES = "zerokeep.invalid/"
SEAL_CERTIFICATE_DAYS = 10 * 365
LONGEST_COMMON_NAME = 64
DOCUMENT_SIGNING = x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36")

PrivateKey = ec.EllipticCurvePrivateKey
NewKey = Callable[[], PrivateKey]


def new_private_key() -> PrivateKey:
    """A fresh P-256 key from the operating system's chance."""
    return ec.generate_private_key(ec.SECP256R1())


@dataclass(frozen=True, slots=True)
class KeyRing:
    """All private keys of one server, open in memory. `repr` shows names only."""

    seal_key: PrivateKey
    seal_certificate: x509.Certificate
    earlier_certificates: tuple[x509.Certificate, ...]
    pin_keys: dict[str, PrivateKey]
    pin_key_id: str
    receipt_key: PrivateKey
    pepper: bytes
    head_signer: NoteSigner
    earlier_head_keys: tuple[NoteVerifier, ...] = ()

    def __repr__(self) -> str:
        return f"KeyRing(pin_key_id={self.pin_key_id!r}, receipt_key_id={self.receipt_key_id!r})"

    @property
    def trusted_certificates(self) -> tuple[x509.Certificate, ...]:
        """Every certificate that a seal of this shop may carry, the one in use first."""
        return (self.seal_certificate, *self.earlier_certificates)

    @property
    def pin_jwk(self) -> dict[str, str]:
        """Public key that tablets seal PINs to, with its RFC 7638 thumbprint as `kid`."""
        return public_jwk(self.pin_keys[self.pin_key_id].public_key())

    @property
    def receipt_key_id(self) -> str:
        """RFC 7638 thumbprint of the receipt key."""
        return self.receipt_jwk["kid"]

    @property
    def receipt_jwk(self) -> dict[str, str]:
        """Public key that tablets check receipts with."""
        return public_jwk(self.receipt_key.public_key())

    @property
    def head_keys(self) -> tuple[NoteVerifier, ...]:
        """Every key that a head of this ledger may be signed with, the one in use first."""
        return (self.head_signer.verifier, *self.earlier_head_keys)

    def with_new_head_key(self, signer: NoteSigner) -> "KeyRing":
        """A ring that signs heads with another key; the former one stays known so that old heads can be
        checked.
        """
        return replace(self, head_signer=signer, earlier_head_keys=self.head_keys)

    def with_new_pin_key(self, key: PrivateKey) -> "KeyRing":
        """A ring that hands out this PIN key from now on and can still open seals to the former ones."""
        kid = public_jwk(key.public_key())["kid"]
        return replace(self, pin_keys={**self.pin_keys, kid: key}, pin_key_id=kid)

    def without_pin_key(self, kid: str) -> "KeyRing":
        """A ring without a former PIN key: what was sealed to it can never be opened again.
        Raises KeyFolderError.
        """
        if kid == self.pin_key_id or kid not in self.pin_keys:
            raise KeyFolderError("keys.pin_key_in_use", kid=kid)
        return replace(self, pin_keys={name: key for name, key in self.pin_keys.items() if name != kid})

    def with_new_seal_key(self, key: PrivateKey, certificate: x509.Certificate) -> "KeyRing":
        """A ring that seals with another key;
        the former certificate stays known so that old records verify.
        """
        return replace(
            self, seal_key=key, seal_certificate=certificate, earlier_certificates=self.trusted_certificates
        )

    @staticmethod
    def create(
        folder: Path,
        passphrase: str,
        *,
        common_name: str,
        now: datetime,
        new_key: NewKey = new_private_key,
        random_bytes: RandomBytes = os.urandom,
        cost: WrappingCost = USUAL_COST,
    ) -> "KeyRing":
        """Make all keys and write them to a folder that has none yet. `now` is aware; `common_name` is the
        shop's name.

        Raises KeyFolderError if keys are there already or the name does not fit a certificate.
        """
        if (folder / FILE_NAME).exists():
            raise KeyFolderError("keys.exist", folder=str(folder))
        seal_key, pin_key, receipt_key = new_key(), new_key(), new_key()
        certificate = seal_certificate(
            seal_key, common_name, now, int.from_bytes(random_bytes(16), "big") >> 1
        )
        kid = public_jwk(pin_key.public_key())["kid"]
        pepper = random_bytes(PEPPER_BYTES)
        ring = KeyRing(
            *(seal_key, certificate, (), {kid: pin_key}, kid, receipt_key, pepper),
            new_head_signer(random_bytes),
        )
        ring.save(folder, passphrase, random_bytes=random_bytes, cost=cost)
        return ring

    @staticmethod
    def open(folder: Path, passphrase: str) -> "KeyRing":
        """The keys in this folder.

        Raises WrongPassphraseError, DamagedKeyFileError, or KeyFolderError if there is no file or others may
        read it.
        """
        path = folder / FILE_NAME
        if not path.is_file():
            raise KeyFolderError("keys.none", folder=str(folder))
        for place in (folder, path):
            if place.stat().st_mode & 0o077:
                raise KeyFolderError("keys.readable_by_others", place=str(place))
        values = read_json(unwrap(path.read_bytes(), passphrase))
        return _ring_from(values) if "head_key" in values else _completed(folder, passphrase)

    def save(
        self,
        folder: Path,
        passphrase: str,
        *,
        random_bytes: RandomBytes = os.urandom,
        cost: WrappingCost = USUAL_COST,
    ) -> None:
        """Write the ring, wrapped under this passphrase, in place of what was there, whole or not at all."""
        if not passphrase:
            raise KeyFolderError("keys.no_passphrase")
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        folder.chmod(0o700)
        write_whole(folder, FILE_NAME, wrap(_secrets_of(self), passphrase, random_bytes, cost))


def new_head_signer(random_bytes: RandomBytes = os.urandom, name: str | None = None) -> NoteSigner:
    """A fresh key for heads, under the ledger's name, or under one that is drawn as well."""
    drawn = name or LEDGER_NAMES + random_bytes(LEDGER_NAME_BYTES).hex()
    return NoteSigner(drawn, Ed25519PrivateKey.from_private_bytes(random_bytes(HEAD_KEY_BYTES)))


def seal_certificate(key: PrivateKey, common_name: str, now: datetime, serial: int) -> x509.Certificate:
    """Self-signed certificate of a seal key, valid for ten years from `now` (aware), for sealing documents
    only.

    `serial` is a positive number below 2**159 (RFC 5280 section 4.1.2.2). Raises KeyFolderError for a common
    name that is empty or longer than 64 characters (RFC 5280 appendix A.1).
    """
    if not 0 < len(common_name) <= LONGEST_COMMON_NAME:
        raise KeyFolderError("keys.common_name", typed=common_name, most=LONGEST_COMMON_NAME)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common_name)])
    usage = dict.fromkeys(
        ("key_encipherment", "data_encipherment", "key_agreement", "key_cert_sign", "crl_sign"), False
    )
    start = now.replace(microsecond=0)
    builder = (
        x509.CertificateBuilder(subject_name=name, issuer_name=name, public_key=key.public_key())
        .serial_number(serial)
        .not_valid_before(start)
        .not_valid_after(start + timedelta(days=SEAL_CERTIFICATE_DAYS))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(
            x509.KeyUsage(
                digital_signature=True,
                content_commitment=True,
                encipher_only=False,
                decipher_only=False,
                **usage,
            ),
            critical=True,
        )
        .add_extension(x509.ExtendedKeyUsage([DOCUMENT_SIGNING]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    return builder.sign(key, SHA256(), ecdsa_deterministic=True)


def _secrets_of(ring: KeyRing) -> bytes:
    return canonical_bytes(
        {
            "seal_key": _scalar(ring.seal_key),
            "certificates": [_certificate_text(certificate) for certificate in ring.trusted_certificates],
            "pin_keys": [_scalar(key) for key in ring.pin_keys.values()],
            "pin_key_id": ring.pin_key_id,
            "receipt_key": _scalar(ring.receipt_key),
            "pepper": to_base64url(ring.pepper),
            **_head_secrets(ring.head_signer, ring.earlier_head_keys),
        }
    )


def _completed(folder: Path, passphrase: str) -> KeyRing:
    """Give a ring from before heads were signed its key for them, once, whoever else opens it at this
    moment.
    """
    with alone_in(folder):
        values = read_json(unwrap((folder / FILE_NAME).read_bytes(), passphrase))
        if "head_key" in values:
            return _ring_from(values)
        ring = _ring_from({**values, **_head_secrets(new_head_signer(), ())})
        ring.save(folder, passphrase)
        return ring


def _head_secrets(signer: NoteSigner, earlier: tuple[NoteVerifier, ...]) -> dict[str, Any]:
    return {
        "head_name": signer.name,
        "head_key": to_base64url(signer.key.private_bytes_raw()),
        "earlier_head_keys": [key.text for key in earlier],
    }


def _ring_from(values: dict[str, Any]) -> KeyRing:
    certificate, *earlier = (
        x509.load_der_x509_certificate(from_base64url(one)) for one in values["certificates"]
    )
    pin_keys = [_private_key(scalar) for scalar in values["pin_keys"]]
    head_key = Ed25519PrivateKey.from_private_bytes(from_base64url(values["head_key"]))
    return KeyRing(
        seal_key=_private_key(values["seal_key"]),
        seal_certificate=certificate,
        earlier_certificates=tuple(earlier),
        pin_keys={public_jwk(key.public_key())["kid"]: key for key in pin_keys},
        pin_key_id=values["pin_key_id"],
        receipt_key=_private_key(values["receipt_key"]),
        pepper=from_base64url(values["pepper"]),
        head_signer=NoteSigner(values["head_name"], head_key),
        earlier_head_keys=tuple(NoteVerifier.from_text(one) for one in values["earlier_head_keys"]),
    )


def _scalar(key: PrivateKey) -> str:
    return to_base64url(key.private_numbers().private_value.to_bytes(COORDINATE_BYTES, "big"))


def _private_key(scalar: str) -> PrivateKey:
    return ec.derive_private_key(int.from_bytes(from_base64url(scalar), "big"), ec.SECP256R1())


def _certificate_text(certificate: x509.Certificate) -> str:
    return to_base64url(certificate.public_bytes(serialization.Encoding.DER))
