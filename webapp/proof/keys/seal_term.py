"""How long the seal's certificate still holds: nothing to say, a warning, or that it has ended.

Rules: from sixty days before the end it is said to whoever can renew it; past the end, and before the
beginning (a clock that is wrong), nothing is sealed, because no verifier would take such a seal (RFC 5280,
4.1.2.5). What was sealed while it held stays as good as it was.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from cryptography import x509

from webapp.proof.errors import SealError

WARNED_DAYS = 60


@dataclass(frozen=True, slots=True)
class SealTerm:
    """What is to be said of a certificate:
    a code of the words catalogue and its fields; whether it still seals.
    """

    code: str
    fields: dict[str, str | int]
    seals: bool


def seal_term(certificate: x509.Certificate, now: datetime) -> SealTerm | None:
    """What is to be said at `now` (aware), None while the end is more than sixty days away."""
    begin, end = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if now < begin:
        return SealTerm("seal.not_yet", {"day": f"{begin:%Y-%m-%d}"}, seals=False)
    if now > end:
        return SealTerm("seal.ended", {"day": f"{end:%Y-%m-%d}"}, seals=False)
    if end - now > timedelta(days=WARNED_DAYS):
        return None
    return SealTerm("seal.ends_soon", {"day": f"{end:%Y-%m-%d}", "days": (end - now).days}, seals=True)


def must_hold(certificate: x509.Certificate, at: datetime) -> None:
    """Raise SealError unless the certificate holds at this time."""
    term = seal_term(certificate, at)
    if term is not None and not term.seals:
        raise SealError(term.code, **term.fields)
