"""The shop's own authority: limited to the shop's names, valid from long before, its key on the server or
taken off.
"""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from webapp.proof.certificates import own_certificate
from webapp.proof.certificates.local_authority import AuthorityRefused, power_over, read_host, read_network
from webapp.proof.certificates.own_certificate import AUTHORITY_KEY_FILE, Chance, Own
from webapp.proof.certificates.tls_certificate import check_tls
from webapp.proof.errors import WrongPassphraseError
from webapp.proof.keys.key_file import WrappingCost

NOW = datetime(2026, 11, 29, 9, 0, tzinfo=UTC)
HOSTS = ("setup.shop.lan", "192.168.40.7", "fd12:3456:789a::7")
SUBNETS = ("192.168.40.0/24", "fd12:3456:789a::/64")
PASSPHRASE, OTHER = "four plain words here", "four other words there"


def chance() -> Chance:
    numbers: Iterator[int] = count(8_101)
    return Chance(
        lambda: ec.derive_private_key(next(numbers), ec.SECP256R1()),
        lambda length: next(numbers).to_bytes(length, "big"),
        WrappingCost(passes=1, memory_kib=8, lanes=1),
    )


def make(folder: Path, hosts: tuple[str, ...] = HOSTS, subnets: tuple[str, ...] = SUBNETS) -> Own:
    power = power_over([read_host(host) for host in hosts], [read_network(one) for one in subnets])
    return own_certificate.make(folder / "own", power, hosts, "Fern Lane", PASSPHRASE, NOW, chance())


def verified(own: Own, host: str, at: datetime) -> bool:
    """What a judge from outside says: the verifier of the library, which is not the one that signs (RFC
    5280).
    """
    verifier = PolicyBuilder().store(Store([own.authority])).time(at)
    try:
        verifier.build_server_verifier(x509.DNSName(host)).verify(own.server, [])
    except VerificationError:
        return False
    return True


def test_both_certificates_say_what_browsers_ask_for(tmp_path: Path) -> None:
    """RFC 5280; at most 397 days (CA/Browser Forum baseline requirements 6.3.2: 398); a name that lists
    show.
    """
    own = make(tmp_path)
    authority, server = own.authority, own.server
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical
    assert {str(one.value) for one in limits.value.permitted_subtrees or []} == {"setup.shop.lan", *SUBNETS}
    basic = authority.extensions.get_extension_for_class(x509.BasicConstraints)
    assert (basic.critical, basic.value.ca, basic.value.path_length) == (True, True, 0)
    assert own_certificate.common_name(authority) == "Zerokeep Fern Lane 2026-11-29"
    assert own.hosts == HOSTS
    assert server.not_valid_after_utc - server.not_valid_before_utc == timedelta(days=397)
    assert NOW - server.not_valid_before_utc == timedelta(days=90)
    assert authority.not_valid_before_utc <= server.not_valid_before_utc
    usage = server.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(usage) == [x509.ExtendedKeyUsageOID.SERVER_AUTH]
    assert server.signature_hash_algorithm is not None
    assert server.signature_hash_algorithm.name == "sha256"
    assert check_tls(tmp_path / "own/server.pem", tmp_path / "own/server.pem", HOSTS, NOW) == []


def test_a_judge_from_outside_takes_it_in_its_time_and_by_its_name_alone(tmp_path: Path) -> None:
    own = make(tmp_path)
    assert verified(own, "setup.shop.lan", NOW)
    assert verified(own, "setup.shop.lan", NOW - timedelta(days=89)), "a tablet that is behind can connect"
    assert not verified(own, "setup.shop.lan", NOW - timedelta(days=91))
    assert not verified(own, "setup.shop.lan", NOW + timedelta(days=308))
    assert not verified(own, "other.shop.lan", NOW)


def test_openssl_refuses_what_lies_outside_of_its_power(tmp_path: Path) -> None:
    """A second judge from outside (openssl verify), for names and for addresses."""
    own = make(tmp_path)
    folder = tmp_path / "own"
    key = own_certificate.authority_key(folder / AUTHORITY_KEY_FILE, PASSPHRASE)
    (tmp_path / "authority.pem").write_bytes(own.authority.public_bytes(Encoding.PEM))

    def judged(general: x509.GeneralName) -> str:
        leaf = (
            x509.CertificateBuilder(issuer_name=own.authority.subject, subject_name=own.server.subject)
            .public_key(own.server.public_key())
            .serial_number(77)
            .not_valid_before(NOW - timedelta(days=9))
            .not_valid_after(NOW + timedelta(days=9))
            .add_extension(x509.SubjectAlternativeName([general]), critical=False)
            .sign(key, own.server.signature_hash_algorithm)
        )
        (tmp_path / "leaf.pem").write_bytes(leaf.public_bytes(Encoding.PEM))
        command = [
            "openssl",
            "verify",
            "-attime",
            str(int(NOW.timestamp())),
            "-CAfile",
            "authority.pem",
            "leaf.pem",
        ]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
        return done.stdout + done.stderr

    from ipaddress import ip_address  # noqa: PLC0415

    inside = (x509.DNSName("setup.shop.lan"), x509.IPAddress(ip_address("192.168.40.200")))
    outside = (
        x509.DNSName("bank.example"),
        x509.IPAddress(ip_address("192.168.41.7")),
        x509.DNSName("shop.lan"),
    )
    assert all("leaf.pem: OK" in judged(general) for general in inside)
    assert all("permitted subtree violation" in judged(general) for general in outside)


def test_a_shop_without_a_name_or_without_a_subnet_has_an_authority_that_is_limited_in_both(
    tmp_path: Path,
) -> None:
    by_address = make(tmp_path, ("192.168.40.7",), ())
    limits = by_address.authority.extensions.get_extension_for_class(x509.NameConstraints).value
    permitted = [str(one.value) for one in limits.permitted_subtrees or []]
    assert permitted == ["zerokeep.internal", "192.168.40.7/32"]
    by_name = power_over(["setup.shop.lan"], []).constraints()
    assert {str(one.value) for one in by_name.excluded_subtrees or []} == {"0.0.0.0/0", "::/0"}


@pytest.mark.parametrize(
    "typed", ["setup", "https://setup.shop.lan", "setup.shop.lan:8420", "", "-a.shop.lan", "*.lan"]
)
def test_what_is_no_host_with_a_dot_is_refused(typed: str) -> None:
    with pytest.raises(AuthorityRefused, match="with a dot"):
        read_host(typed)


@pytest.mark.parametrize("typed", ["0.0.0.0/0", "11.0.0.0/8", "::/0", "fd00::/8", "10.0.0.0/7"])
def test_a_subnet_that_is_wider_than_a_shops_is_refused(typed: str) -> None:
    with pytest.raises(AuthorityRefused, match="wider"):
        read_network(typed)
    with pytest.raises(AuthorityRefused, match="no subnet"):
        read_network("the shop's")


def test_it_renews_within_its_power_and_says_what_lies_outside(tmp_path: Path) -> None:
    own, folder = make(tmp_path), tmp_path / "own"
    key = own_certificate.authority_key(folder / AUTHORITY_KEY_FILE, PASSPHRASE)
    later = NOW + timedelta(days=218)
    assert own.is_due(later)
    assert not own.is_due(NOW + timedelta(days=200))
    renewed = own_certificate.renew(folder, key, later, chance())
    assert renewed.hosts == HOSTS
    assert renewed.authority == own.authority
    assert verified(renewed, "setup.shop.lan", later + timedelta(days=300))
    moved = own_certificate.renew(folder, key, later, chance(), ["setup.shop.lan", "192.168.40.9"])
    assert moved.hosts == ("setup.shop.lan", "192.168.40.9")
    before = (folder / "server.pem").read_bytes()
    with pytest.raises(AuthorityRefused, match=r"192\.168\.41\.9"):
        own_certificate.renew(folder, key, later, chance(), ["setup.shop.lan", "192.168.41.9"])
    with pytest.raises(AuthorityRefused, match="not the one of the authority"):
        own_certificate.renew(folder, ec.derive_private_key(5, ec.SECP256R1()), later, chance())
    assert (folder / "server.pem").read_bytes() == before


def test_its_key_is_taken_off_under_another_passphrase_and_the_server_can_no_longer_renew(
    tmp_path: Path,
) -> None:
    make(tmp_path)
    folder, stick = tmp_path / "own", tmp_path / "stick.json"
    with pytest.raises(WrongPassphraseError):
        own_certificate.take_off(folder, OTHER, stick, OTHER, chance())
    assert not stick.exists()
    own_certificate.take_off(folder, PASSPHRASE, stick, OTHER, chance())
    assert not own_certificate.look(folder).key_is_here
    assert stick.stat().st_mode & 0o077 == 0
    with pytest.raises(AuthorityRefused, match="taken off"):
        own_certificate.authority_key(folder / AUTHORITY_KEY_FILE, PASSPHRASE)
    with pytest.raises(WrongPassphraseError):
        own_certificate.authority_key(stick, PASSPHRASE)
    key = own_certificate.authority_key(stick, OTHER)
    assert own_certificate.renew(folder, key, NOW + timedelta(days=300), chance()).hosts == HOSTS


def test_there_is_one_authority_only_and_a_damaged_one_is_said(tmp_path: Path) -> None:
    make(tmp_path)
    with pytest.raises(AuthorityRefused, match="already"):
        make(tmp_path)
    (tmp_path / "own/server.pem").write_text("nonsense")
    with pytest.raises(AuthorityRefused, match="backup"):
        own_certificate.look(tmp_path / "own")
    with pytest.raises(AuthorityRefused, match="zerokeep certificate make"):
        own_certificate.look(tmp_path / "elsewhere")
