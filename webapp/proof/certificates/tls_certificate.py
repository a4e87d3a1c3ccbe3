"""The certificate that the server shows to tablets:
looked at before anybody is answered, and again every day.

Rules:
- certificate and key are loaded as the server will load them, so that nonsense, swapped files and a key of
  another certificate are refused in words and not in a trace (OWASP ASVS 5.0, 12.1);
- a certificate that has ended, or that has not begun, is refused:
  no tablet would take it (RFC 5280 section 4.1.2.5). Within sixty days of its end it is said;
- it has to name every host that tablets are told to call, as its subject alternative names say (RFC 9525
  section 6); names of this computer itself aside, which no other computer calls;
- where the file brings its authority along and that states which names it may certify (RFC 5280 section
  4.2.1.10), a name outside makes the whole certificate worthless in every browser, and is refused.
"""

from __future__ import annotations

import ssl
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address
from pathlib import Path

from cryptography import x509

from webapp.proof.errors import ProofError
from webapp.proof.keys.seal_term import WARNED_DAYS

OF_THIS_COMPUTER = frozenset({"localhost", "127.0.0.1", "::1", "[::1]"})
Address = IPv4Address | IPv6Address


class TlsRefused(ProofError):
    """Certificate and key cannot be served with."""


@dataclass(frozen=True, slots=True)
class Notice:
    """What is to be said of a certificate that serves: a code of the words catalogue and its fields."""

    code: str
    fields: dict[str, str | int]


def check_tls(certificate: Path, key: Path, hosts: Sequence[str], now: datetime) -> list[Notice]:
    """What is to be said of the server's certificate at `now` (aware).
    `hosts` are the names that tablets call.

    Raises TlsRefused with what is wrong and what to do.
    """
    chain = _load(certificate, key)
    notice = _within_its_time(chain[0], now)
    names = _names(chain[0])
    missing = [host for host in hosts if host not in OF_THIS_COMPUTER and not _is_named(host, names)]
    if missing:
        raise TlsRefused("tls.not_named", hosts=", ".join(missing), names=", ".join(map(str, names)) or "–")
    for authority in chain[1:]:
        _within_its_power(authority, names)
    return [notice] if notice else []


def tls_term(certificate: Path | None, now: datetime, days: int = WARNED_DAYS) -> Notice | None:
    """What is to be said of the end of a certificate that is being served with; None while it is more
    `days` away.
    """
    if certificate is None or not certificate.exists():
        return None
    end = x509.load_pem_x509_certificates(certificate.read_bytes())[0].not_valid_after_utc
    if now > end:
        return Notice("tls.ended", {"day": f"{end:%Y-%m-%d}"})
    if end - now > timedelta(days=days):
        return None
    return Notice("tls.ends_soon", {"day": f"{end:%Y-%m-%d}", "days": (end - now).days})


def its_days(certificate: Path | None) -> tuple[datetime, datetime] | None:
    """From when to when the certificate that tablets are shown holds (aware); None where there is none
    to read.
    """
    if certificate is None:
        return None
    try:
        shown = x509.load_pem_x509_certificates(certificate.read_bytes())[0]
    except (OSError, ValueError):
        return None
    return shown.not_valid_before_utc, shown.not_valid_after_utc


def _load(certificate: Path, key: Path) -> list[x509.Certificate]:
    try:
        chain = x509.load_pem_x509_certificates(certificate.read_bytes())
    except (OSError, ValueError):
        raise TlsRefused("tls.no_certificate", path=str(certificate)) from None
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password=_no_password)
    except ssl.SSLError as error:
        code = "tls.other_key" if "KEY_VALUES_MISMATCH" in str(error) else "tls.no_key"
        raise TlsRefused(code, certificate=str(certificate), key=str(key)) from None
    except OSError as error:
        raise TlsRefused("tls.not_readable", path=str(key), why=error.strerror or "–") from None
    return chain


def _no_password() -> str:
    """Nobody is asked at a start: a key under a password is refused like one that cannot be read."""
    return ""


def _within_its_time(certificate: x509.Certificate, now: datetime) -> Notice | None:
    begin, end = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if now < begin:
        raise TlsRefused("tls.not_yet", day=f"{begin:%Y-%m-%d}")
    if now > end:
        raise TlsRefused("tls.ended", day=f"{end:%Y-%m-%d}")
    if end - now > timedelta(days=WARNED_DAYS):
        return None
    return Notice("tls.ends_soon", {"day": f"{end:%Y-%m-%d}", "days": (end - now).days})


def _names(certificate: x509.Certificate) -> list[str | Address]:
    try:
        found = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return []
    addresses = found.get_values_for_type(x509.IPAddress)
    return [
        *found.get_values_for_type(x509.DNSName),
        *(one for one in addresses if isinstance(one, (IPv4Address, IPv6Address))),
    ]


def _is_named(host: str, names: Iterable[str | Address]) -> bool:
    address = _address(host)
    if address is not None:
        return address in names
    _, _, parent = host.lower().partition(".")
    wanted = {host.lower(), f"*.{parent}"} if parent else {host.lower()}
    return any(isinstance(name, str) and name.lower() in wanted for name in names)


def _address(host: str) -> Address | None:
    try:
        return ip_address(host.strip("[]"))
    except ValueError:
        return None


def _within_its_power(authority: x509.Certificate, names: Iterable[str | Address]) -> None:
    try:
        limits = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    except x509.ExtensionNotFound:
        return
    outside = [name for name in names if not _may_certify(limits, name)]
    if outside:
        raise TlsRefused("tls.outside_authority", names=", ".join(map(str, outside)))


def _may_certify(limits: x509.NameConstraints, name: str | Address) -> bool:
    """Whether a name lies in no excluded subtree of an authority's,
    and in a permitted one where its kind has any.
    """
    permitted, excluded = limits.permitted_subtrees or [], limits.excluded_subtrees or []
    if any(_lies_in(name, tree) for tree in excluded):
        return False
    kind = x509.DNSName if isinstance(name, str) else x509.IPAddress
    of_its_kind = [tree for tree in permitted if isinstance(tree, kind)]
    return not of_its_kind or any(_lies_in(name, tree) for tree in of_its_kind)


def _lies_in(name: str | Address, tree: x509.GeneralName) -> bool:
    if isinstance(name, str) and isinstance(tree, x509.DNSName):
        top, own = tree.value.lower().lstrip("."), name.lower()
        return own == top or own.endswith(f".{top}")
    if not isinstance(name, str) and isinstance(tree, x509.IPAddress):
        return not isinstance(tree.value, (IPv4Address, IPv6Address)) and name in tree.value
    return False
