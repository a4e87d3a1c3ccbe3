"""The certificate that tablets are shown is looked at before anybody is answered,
and refused in plain words.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from ipaddress import ip_address, ip_network
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    KeySerializationEncryption,
    NoEncryption,
    PrivateFormat,
)
from cryptography.x509.oid import NameOID

from webapp.proof.certificates.tls_certificate import TlsRefused, check_tls, tls_term

NOW = datetime(2026, 11, 29, 9, 0, tzinfo=UTC)
HOSTS = ("localhost", "127.0.0.1", "mill.shop.example", "192.168.40.7")
KEY = ec.derive_private_key(7_301, ec.SECP256R1())
AUTHORITY_KEY = ec.derive_private_key(7_302, ec.SECP256R1())


def certificate(
    *,
    names: tuple[str, ...] = ("mill.shop.example", "192.168.40.7"),
    begin: timedelta = timedelta(days=-30),
    end: timedelta = timedelta(days=300),
    limits: tuple[x509.GeneralName, ...] | None = None,
) -> bytes:
    """PEM of a server's certificate; with `limits` its authority follows, good for those names alone."""
    found = [_general(name) for name in names]
    own = _builder("server", "authority", begin, end).public_key(KEY.public_key())
    own = own.add_extension(x509.SubjectAlternativeName(found), critical=False) if found else own
    pem = own.sign(AUTHORITY_KEY, SHA256()).public_bytes(Encoding.PEM)
    if limits is None:
        return pem
    authority = _builder("authority", "authority", begin, end).public_key(AUTHORITY_KEY.public_key())
    authority = authority.add_extension(x509.NameConstraints(list(limits), None), critical=True)
    return pem + authority.sign(AUTHORITY_KEY, SHA256()).public_bytes(Encoding.PEM)


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _builder(subject: str, issuer: str, begin: timedelta, end: timedelta) -> x509.CertificateBuilder:
    def name(text: str) -> x509.Name:
        return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])

    builder = x509.CertificateBuilder(subject_name=name(subject), issuer_name=name(issuer)).serial_number(5)
    return builder.not_valid_before(NOW + begin).not_valid_after(NOW + end)


def key_pem(how: KeySerializationEncryption | None = None, key: ec.EllipticCurvePrivateKey = KEY) -> bytes:
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, how or NoEncryption())


def files(folder: Path, pem: bytes, key: bytes) -> tuple[Path, Path]:
    (folder / "server.pem").write_bytes(pem)
    (folder / "server.key").write_bytes(key)
    return folder / "server.pem", folder / "server.key"


def test_a_certificate_that_names_every_host_is_taken_without_a_word(tmp_path: Path) -> None:
    assert check_tls(*files(tmp_path, certificate(), key_pem()), HOSTS, NOW) == []


def test_a_wildcard_names_the_hosts_one_level_below_it(tmp_path: Path) -> None:
    pem = certificate(names=("*.shop.example", "192.168.40.7"))
    assert check_tls(*files(tmp_path, pem, key_pem()), HOSTS, NOW) == []
    with pytest.raises(TlsRefused, match="deep"):
        check_tls(*files(tmp_path, pem, key_pem()), ("deep.mill.shop.example",), NOW)


@pytest.mark.parametrize(
    ("pem", "key", "code"),
    [
        (b"nonsense", key_pem(), "tls.no_certificate"),
        (key_pem(), certificate(), "tls.no_certificate"),
        (certificate(), b"nonsense", "tls.no_key"),
        (certificate(), certificate(), "tls.no_key"),
        (certificate(), key_pem(BestAvailableEncryption(b"a password")), "tls.no_key"),
        (certificate(), key_pem(key=AUTHORITY_KEY), "tls.other_key"),
        (certificate(begin=timedelta(days=1)), key_pem(), "tls.not_yet"),
        (certificate(end=timedelta(days=-1)), key_pem(), "tls.ended"),
        (certificate(names=("mill.shop.example",)), key_pem(), "tls.not_named"),
        (certificate(names=()), key_pem(), "tls.not_named"),
    ],
)
def test_what_no_tablet_would_take_is_refused_by_name(
    tmp_path: Path, pem: bytes, key: bytes, code: str
) -> None:
    with pytest.raises(TlsRefused) as refused:
        check_tls(*files(tmp_path, pem, key), HOSTS, NOW)
    assert refused.value.code == code
    assert len(str(refused.value)) > 40


@pytest.mark.parametrize(
    ("limits", "is_taken"),
    [
        ((x509.DNSName("shop.example"), x509.IPAddress(ip_network("192.168.40.0/24"))), True),
        ((x509.DNSName("other.example"), x509.IPAddress(ip_network("192.168.40.0/24"))), False),
        ((x509.DNSName("shop.example"), x509.IPAddress(ip_network("10.0.0.0/8"))), False),
        ((x509.DNSName("shop.example"),), True),
        ((x509.DNSName("op.example"),), False),
    ],
)
def test_a_name_outside_of_what_the_authority_may_certify_is_refused(
    tmp_path: Path, limits: tuple[x509.GeneralName, ...], *, is_taken: bool
) -> None:
    """RFC 5280 section 4.2.1.10: a kind of name without a permitted subtree is not limited."""
    made = files(tmp_path, certificate(limits=limits), key_pem())
    if is_taken:
        assert check_tls(*made, HOSTS, NOW) == []
        return
    with pytest.raises(TlsRefused, match="may not certify"):
        check_tls(*made, HOSTS, NOW)


def test_from_sixty_days_before_the_end_it_is_said(tmp_path: Path) -> None:
    made = files(tmp_path, certificate(end=timedelta(days=60, hours=1)), key_pem())
    assert check_tls(*made, HOSTS, NOW) == []
    (notice,) = check_tls(*made, HOSTS, NOW + timedelta(hours=2))
    assert (notice.code, notice.fields["days"]) == ("tls.ends_soon", 59)
    assert tls_term(made[0], NOW) is None
    later = tls_term(made[0], NOW + timedelta(days=61))
    assert later is not None
    assert later.code == "tls.ended"
    assert tls_term(None, NOW) is None
