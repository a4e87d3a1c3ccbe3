"""What the server signs for a tablet: that it was reached, and what became of each event.

Rules:
- an answer to reach carries the tablet's own nonce under the receipt key,
  so a portal page or a foreign server cannot pass for this one;
- the challenge in it is this server's time under a key of its own (HMAC-SHA-256, RFC 2104); nothing is stored
  for it. It is good for five minutes of this server's clock, so that a recorded request for news is of no use
  later;
- the same answer says which key PINs are sealed to, and by which statement a backup was brought back last, if
  ever: a tablet learns both from the key that it knows;
- receipts are signed over exactly what was stored, after the commit;
- a head of the ledger carries its own signature, for ever; the answer that brings it carries the tablet's
  nonce under the receipt key, so that an old one cannot be played again to hide what came since.
"""

from __future__ import annotations

import hmac
import re
from datetime import datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from webapp.domain.plain.json_strict import canonical_bytes
from webapp.proof.keys.encoding import from_base64url, to_base64url
from webapp.proof.keys.jws import sign
from webapp.services.evidence.signed_heads import HeadSince
from webapp.services.intake.errors import ChallengeRefused
from webapp.services.intake.pictures import PictureReceipt
from webapp.services.intake.sorting import Receipt
from webapp.services.times import from_text, utc_text

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing

REACH_DOMAIN = "zerokeep/reach/1"
REACH_TYPE = "zerokeep-reach+jws"
HEAD_DOMAIN = "zerokeep/head/1"
HEAD_TYPE = "zerokeep-head+jws"
RECEIPTS_DOMAIN = "zerokeep/receipts/1"
RECEIPT_TYPE = "zerokeep-receipt+jws"
PICTURE_DOMAIN = "zerokeep/picture/1"
CHALLENGE_MINUTES = 5
NONCE = re.compile(r"[A-Za-z0-9_-]{16,86}")
CHALLENGE_KEY = b"zerokeep/challenge/1"


def reach(
    keyring: KeyRing,
    nonce: str,
    shell_version: str,
    now: datetime,
    epoch: str | None = None,
    certificate: tuple[datetime, datetime] | None = None,
) -> dict[str, str]:
    """The signed answer to one nonce (16 to 86 base64url characters): {"answer": JWS}.

    `certificate` says from when to when the one that tablets are shown holds; None where this server shows
    none.
    Raises ChallengeRefused.
    """
    if not NONCE.fullmatch(nonce):
        raise ChallengeRefused
    payload = {
        "domain": REACH_DOMAIN,
        "nonce": nonce,
        "at_utc": utc_text(now),
        "challenge": challenge(keyring, now),
        "shell": shell_version,
        "pin_key": keyring.pin_jwk,
        "epoch": epoch,
        "certificate": dict(zip(("from_utc", "until_utc"), map(utc_text, certificate), strict=True))
        if certificate
        else None,
    }
    return {"answer": _signed(keyring, payload, REACH_TYPE)}


def challenge(keyring: KeyRing, now: datetime) -> str:
    """A challenge that this server can check without having stored it."""
    at_utc = utc_text(now)
    return f"{at_utc}.{to_base64url(_tag(keyring, at_utc))}"


def check_challenge(keyring: KeyRing, text: str, now: datetime) -> None:
    """Raise ChallengeRefused for a challenge that is not ours, not yet made, or older than five minutes."""
    at_utc, _, tag = text.rpartition(".")
    try:
        ours = hmac.compare_digest(from_base64url(tag), _tag(keyring, at_utc))
    except ValueError:
        raise ChallengeRefused from None
    if not ours:
        raise ChallengeRefused
    age = now - from_text(at_utc)
    if not timedelta(seconds=-1) <= age <= timedelta(minutes=CHALLENGE_MINUTES):
        raise ChallengeRefused


def ledger_head(keyring: KeyRing, nonce: str, head: HeadSince, now: datetime) -> dict[str, str]:
    """The signed answer to one nonce with a head of the ledger: {"answer": JWS}. Raises ChallengeRefused.

    Its payload: domain, nonce, at_utc, note, since, proof (see HeadSince), key (what checks the note, as
    text).
    """
    if not NONCE.fullmatch(nonce):
        raise ChallengeRefused
    said = {"domain": HEAD_DOMAIN, "nonce": nonce, "at_utc": utc_text(now)}
    payload = {**said, **head, "key": keyring.head_signer.verifier.text}
    return {"answer": _signed(keyring, payload, HEAD_TYPE)}


def receipts(keyring: KeyRing, entries: list[Receipt], now: datetime) -> str:
    """One JWS over all receipts of a batch."""
    payload = {"domain": RECEIPTS_DOMAIN, "at_utc": utc_text(now), "receipts": entries}
    return _signed(keyring, payload, RECEIPT_TYPE)


def picture(keyring: KeyRing, told: PictureReceipt, now: datetime) -> str:
    """A JWS over what became of one picture."""
    payload = {"domain": PICTURE_DOMAIN, "at_utc": utc_text(now), **told}
    return _signed(keyring, payload, RECEIPT_TYPE)


def _signed(keyring: KeyRing, payload: dict[str, Any], typ: str) -> str:
    return sign(canonical_bytes(payload), keyring.receipt_key, keyring.receipt_key_id, typ)


def _tag(keyring: KeyRing, at_utc: str) -> bytes:
    key = HKDF(SHA256(), 32, None, CHALLENGE_KEY).derive(keyring.pepper)
    return hmac.digest(key, at_utc.encode(), sha256)
