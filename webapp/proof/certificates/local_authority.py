"""A certificate authority of the shop's own, which can vouch for the shop's own names and addresses and
nothing else.

A tablet that trusts an authority believes it whatever it says, so this one's power is limited in its
certificate, where nobody can widen it: name constraints (RFC 5280 section 4.2.1.10), critical, with the
names and subnets that were typed when it was made. Browsers refuse every certificate of it that names
anything else, as a whole.

Rules:
- the authority certifies servers and no further authority (path length 0); it has a common name, because
  some systems list it by that alone, and lasts ten years;
- a server's certificate says server authentication and digital signature, names every host in use among its
  subject alternative names (RFC 9525 section 6), and covers 397 days in all: Apple's systems refuse more
  than 825, public practice is 398;
- both are valid from well before they are made: a tablet whose clock is behind can still connect and learn
  the time;
- a kind of name without a permitted subtree would not be limited at all, so there is always one of each
  kind: where no name was typed `zerokeep.internal` stands, a name that the public net never has; where no
  subnet was typed every address is excluded;
- a limit has to be the shop's: no single label (it would let in all names below it), no network wider than
  is sensible.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from webapp.proof.errors import ProofError

AUTHORITY_DAYS = 3650
AUTHORITY_BEFORE_DAYS = 365
SERVER_DAYS = 397
SERVER_BEFORE_DAYS = 90
NOBODYS_NAME = "zerokeep.internal"
LONGEST_COMMON_NAME = 64
HOST = re.compile(r"(?=.{1,253}$)([a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?\.)+[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")
WIDEST_PRIVATE, WIDEST_PUBLIC, WIDEST_V6 = 8, 16, 48

Network = IPv4Network | IPv6Network
PrivateKey = ec.EllipticCurvePrivateKey


class AuthorityRefused(ProofError):
    """An authority cannot be made so, or may not certify what was asked."""


@dataclass(frozen=True, slots=True)
class Power:
    """All that an authority may certify: `names` with everything below them, and addresses in `networks`."""

    names: tuple[str, ...]
    networks: tuple[Network, ...]

    def constraints(self) -> x509.NameConstraints:
        """The extension that says so."""
        permitted: list[x509.GeneralName] = [x509.DNSName(name) for name in self.names or (NOBODYS_NAME,)]
        permitted += [x509.IPAddress(one) for one in self.networks]
        excluded = [x509.IPAddress(ip_network(text)) for text in ("0.0.0.0/0", "::/0")]
        return x509.NameConstraints(permitted, None if self.networks else excluded)

    def covers(self, host: str) -> bool:
        """Whether a host name or address lies within it."""
        address = _address(host)
        if address is not None:
            return any(address in network for network in self.networks)
        return any(host == name or host.endswith(f".{name}") for name in self.names)


def read_host(text: str) -> str:
    """A host as it is typed, in lower case: a name with a dot, or an address. Raises AuthorityRefused."""
    host = text.strip().strip("[]").lower()
    address = _address(host)
    if address is not None:
        return str(address)
    if not HOST.fullmatch(host):
        raise AuthorityRefused("authority.host", typed=text)
    return host


def read_network(text: str) -> Network:
    """A subnet as it is typed, such as 192.168.40.0/24. Raises AuthorityRefused."""
    try:
        network = ip_network(text.strip(), strict=False)
    except ValueError:
        raise AuthorityRefused("authority.network", typed=text) from None
    widest = WIDEST_V6 if network.version == 6 else WIDEST_PRIVATE if network.is_private else WIDEST_PUBLIC
    if network.prefixlen < widest:
        raise AuthorityRefused("authority.network_too_wide", typed=text, widest=widest)
    return network


def power_over(hosts: Sequence[str], networks: Sequence[Network]) -> Power:
    """Power over these hosts and subnets. An address in none of the subnets is one of its own.

    Raises AuthorityRefused where no host is given.
    """
    if not hosts:
        raise AuthorityRefused("authority.no_host")
    own = [ip_network(host) for host in hosts if _address(host) is not None]
    more = [one for one in own if not any(_lies_in(one, network) for network in networks)]
    names = tuple(dict.fromkeys(host for host in hosts if _address(host) is None))
    return Power(names, tuple(dict.fromkeys([*networks, *more])))


def power_of(authority: x509.Certificate) -> Power:
    """What an authority that this module made may certify."""
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    trees = limits.permitted_subtrees or []
    return Power(
        tuple(tree.value for tree in trees if isinstance(tree, x509.DNSName)),
        tuple(tree.value for tree in trees if isinstance(tree.value, (IPv4Network, IPv6Network))),
    )


def make_authority(power: Power, shop: str, key: PrivateKey, serial: int, now: datetime) -> x509.Certificate:
    """The authority's own certificate. `shop` is how people find it in a list; `now` is aware."""
    name = _named(f"Zerokeep {shop} {now:%Y-%m-%d}")
    public = key.public_key()
    identifier = x509.SubjectKeyIdentifier.from_public_key(public)
    return (
        x509.CertificateBuilder(issuer_name=name, subject_name=name, public_key=public, serial_number=serial)
        .not_valid_before(now - timedelta(days=AUTHORITY_BEFORE_DAYS))
        .not_valid_after(now + timedelta(days=AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(certifies=True), critical=True)
        .add_extension(power.constraints(), critical=True)
        .add_extension(identifier, critical=False)
        .sign(key, SHA256())
    )


def certify(
    authority: x509.Certificate,
    authority_key: PrivateKey,
    hosts: Sequence[str],
    public: ec.EllipticCurvePublicKey,
    serial: int,
    now: datetime,
) -> x509.Certificate:
    """A server's certificate for these hosts. Raises AuthorityRefused for one outside of the authority's
    power.
    """
    power = power_of(authority)
    outside = [host for host in hosts if not power.covers(host)]
    if outside or not hosts:
        raise AuthorityRefused("authority.outside", hosts=", ".join(outside) or "–", power=said(power))
    if authority_key.public_key() != authority.public_key():
        raise AuthorityRefused("authority.other_key")
    of_authority = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    end = min(now + timedelta(days=SERVER_DAYS - SERVER_BEFORE_DAYS), authority.not_valid_after_utc)
    return (
        x509.CertificateBuilder(issuer_name=authority.subject, subject_name=_named(hosts[0]))
        .public_key(public)
        .serial_number(serial)
        .not_valid_before(now - timedelta(days=SERVER_BEFORE_DAYS))
        .not_valid_after(end)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(certifies=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_general(host) for host in hosts]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(of_authority), critical=False
        )
        .sign(authority_key, SHA256())
    )


def said(power: Power) -> str:
    """An authority's power in words for one line."""
    return ", ".join([*power.names, *map(str, power.networks)])


def _lies_in(inner: Network, outer: Network) -> bool:
    return inner.version == outer.version and inner.network_address in outer


def _address(host: str) -> IPv4Address | IPv6Address | None:
    try:
        return ip_address(host)
    except ValueError:
        return None


def _general(host: str) -> x509.GeneralName:
    address = _address(host)
    return x509.DNSName(host) if address is None else x509.IPAddress(address)


def _named(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:LONGEST_COMMON_NAME])])


def _usage(*, certifies: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not certifies,
        key_cert_sign=certifies,
        crl_sign=certifies,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )
