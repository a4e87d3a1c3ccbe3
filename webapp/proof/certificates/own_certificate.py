"""The shop's own authority and the server's certificate from it, as they lie in one folder.

    authority.pem        the authority's certificate, which every tablet is given; no secret
    authority-key.json   its key, wrapped under a passphrase (key_file.py), until it is taken off
    server.pem           the server's key, its certificate and the authority's, in one file

Rules:
- the server's key and its certificate are one file, so that they are replaced together or not at all; it is
  for the server's own user alone, like every TLS server's key;
- the authority's key is not needed to serve, only to renew. Taken off, it is written to a file under another
  passphrase, read back from there, and only then removed here.

Decision: while the key lies on the server, whoever takes the server over can certify this shop's names,
which it then answers under anyhow, and no others. A shop without anybody who would renew by hand each year
is served better by a certificate that renews itself than by tablets that are locked out; taking the key off
is recommended all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from ipaddress import IPv4Address, IPv6Address
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID

from webapp.proof.certificates.local_authority import (
    AuthorityRefused,
    Power,
    PrivateKey,
    certify,
    make_authority,
)
from webapp.proof.errors import DamagedKeyFileError
from webapp.proof.keys.key_file import USUAL_COST, RandomBytes, WrappingCost, unwrap, wrap, write_whole
from webapp.proof.keys.key_ring import NewKey

AUTHORITY_FILE = "authority.pem"
AUTHORITY_KEY_FILE = "authority-key.json"
SERVER_FILE = "server.pem"
RENEWED_DAYS = 90  # so long before its end a certificate renews itself
SERIAL_BYTES = 16


@dataclass(frozen=True, slots=True)
class Chance:
    """Where keys and serial numbers come from, and what wrapping a key costs."""

    new_key: NewKey
    random_bytes: RandomBytes
    cost: WrappingCost = USUAL_COST

    def serial(self) -> int:
        """A serial number of 127 bits, positive (RFC 5280 section 4.1.2.2)."""
        return int.from_bytes(self.random_bytes(SERIAL_BYTES), "big") >> 1


@dataclass(frozen=True, slots=True)
class Own:
    """What lies in the folder: both certificates, the hosts of the server's, whether the authority's key is
    here.
    """

    authority: x509.Certificate
    server: x509.Certificate
    hosts: tuple[str, ...]
    key_is_here: bool

    def is_due(self, now: datetime) -> bool:
        """Whether it is time to renew the server's certificate."""
        return self.server.not_valid_after_utc - now < timedelta(days=RENEWED_DAYS)


def make(
    folder: Path,
    power: Power,
    hosts: Sequence[str],
    shop: str,
    passphrase: str,
    now: datetime,
    chance: Chance,
) -> Own:
    """An authority with this power, and a certificate for these hosts. Raises AuthorityRefused where there
    is one.
    """
    if (folder / AUTHORITY_FILE).exists():
        raise AuthorityRefused("authority.exists", folder=str(folder))
    folder.mkdir(mode=0o700, exist_ok=True)
    key = chance.new_key()
    authority = make_authority(power, shop, key, chance.serial(), now)
    write_server(folder, authority, key, hosts, now, chance)
    write_whole(folder, AUTHORITY_KEY_FILE, wrap(_der(key), passphrase, chance.random_bytes, chance.cost))
    write_whole(folder, AUTHORITY_FILE, authority.public_bytes(Encoding.PEM))
    return look(folder)


def write_server(
    folder: Path,
    authority: x509.Certificate,
    authority_key: PrivateKey,
    hosts: Sequence[str],
    now: datetime,
    chance: Chance,
) -> None:
    """A new key and certificate for the server in the place of the former. Raises AuthorityRefused."""
    key = chance.new_key()
    server = certify(authority, authority_key, hosts, key.public_key(), chance.serial(), now)
    private = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    chain = [one.public_bytes(Encoding.PEM) for one in (server, authority)]
    write_whole(folder, SERVER_FILE, b"".join([private, *chain]))


def renew(
    folder: Path, authority_key: PrivateKey, now: datetime, chance: Chance, hosts: Sequence[str] = ()
) -> Own:
    """A new certificate for these hosts, or for those of the former one. Raises AuthorityRefused."""
    own = look(folder)
    write_server(folder, own.authority, authority_key, hosts or own.hosts, now, chance)
    return look(folder)


def server_file(folder: Path) -> Path:
    """The file with the server's key and certificate; it may not be there."""
    return folder / SERVER_FILE


def is_made(folder: Path) -> bool:
    """Whether there is an authority here."""
    return (folder / AUTHORITY_FILE).is_file() and (folder / SERVER_FILE).is_file()


def look(folder: Path) -> Own:
    """What lies here. Raises AuthorityRefused when nothing does, or it cannot be read."""
    try:
        authority = x509.load_pem_x509_certificate((folder / AUTHORITY_FILE).read_bytes())
        server = x509.load_pem_x509_certificates((folder / SERVER_FILE).read_bytes())[0]
    except FileNotFoundError:
        raise AuthorityRefused("authority.none", folder=str(folder)) from None
    except ValueError:
        raise AuthorityRefused("authority.damaged", folder=str(folder)) from None
    return Own(authority, server, hosts_of(server), (folder / AUTHORITY_KEY_FILE).exists())


def hosts_of(server: x509.Certificate) -> tuple[str, ...]:
    """Names and addresses of a server's certificate, in its order."""
    names = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return tuple(str(one.value) for one in names if isinstance(one.value, (str, IPv4Address, IPv6Address)))


def authority_key(file: Path, passphrase: str) -> PrivateKey:
    """The authority's key from the file that wraps it.

    Raises WrongPassphraseError, DamagedKeyFileError, AuthorityRefused where there is no file.
    """
    try:
        key = serialization.load_der_private_key(unwrap(file.read_bytes(), passphrase), None)
    except FileNotFoundError:
        raise AuthorityRefused("authority.key_taken_off", file=str(file)) from None
    except ValueError:
        raise DamagedKeyFileError("keys.damaged") from None
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise DamagedKeyFileError("keys.damaged")
    return key


def take_off(folder: Path, passphrase: str, target: Path, new_passphrase: str, chance: Chance) -> None:
    """Move the authority's key from the server to the new file `target`, under another passphrase.

    Raises AuthorityRefused where that file is there or cannot be written; the key then stays where it was.
    """
    if target.exists():
        raise AuthorityRefused("authority.file_exists", file=str(target))
    key = authority_key(folder / AUTHORITY_KEY_FILE, passphrase)
    wrapped = wrap(_der(key), new_passphrase, chance.random_bytes, chance.cost)
    try:
        write_whole(target.parent, target.name, wrapped)
    except OSError as error:
        raise AuthorityRefused(
            "authority.not_written", file=str(target), why=error.strerror or "–"
        ) from error
    if authority_key(target, new_passphrase).public_key() != look(folder).authority.public_key():
        raise AuthorityRefused("authority.other_key")
    (folder / AUTHORITY_KEY_FILE).unlink()


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of a certificate as people compare it: pairs of hexadecimal digits with colons."""
    return sha256(certificate.public_bytes(Encoding.DER)).digest().hex(":").upper()


def common_name(certificate: x509.Certificate) -> str:
    """What people find a certificate by in a list."""
    return str(certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)[0].value)


def _der(key: PrivateKey) -> bytes:
    return key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
