"""Sealing a finished record: one certification signature over the whole file.

Rules:
- sealed once, after the last human signature was verified; whatever is added later is another file;
- PAdES B-B (see cms.py and pdf_update.py), the bytes before the seal stay an exact beginning of the sealed
  file;
- the same bytes, key, time and words give the same sealed file (RFC 6979 signatures);
- what was sealed is verified before it is handed out. A failure raises and hands out nothing.

The seal is the shop's, made with a key that the server holds. The persons' own signatures are the events
inside. It does not claim to be an "advanced" or "qualified" signature or seal in the sense of Regulation (EU)
No 910/2014.
"""

from datetime import datetime

from webapp.proof.errors import SealError
from webapp.proof.keys.key_ring import KeyRing
from webapp.proof.keys.seal_term import must_hold
from webapp.proof.pdf import cms, pdf_update
from webapp.proof.pdf.pdf_features import forbidden_features
from webapp.proof.pdf.pdf_update import PreparedPdf, SealWords
from webapp.proof.pdf.pdf_verify import verify_seal

LONGEST_WORDS = 500


def seal(pdf: bytes, keyring: KeyRing, at_utc: str, shop_name: str, reason: str) -> bytes:
    """The sealed file: `pdf` followed by one update.

    `at_utc` like "2026-11-25T08:03:12.345Z"; the seal keeps whole seconds. `shop_name` and `reason` have 1 to
    500 characters. Raises SealError for bytes that are no PDF, that are sealed already, that hold what no
    record may hold, at a time at which the certificate does not hold, or if the result does not verify.
    """
    if max(len(shop_name), len(reason)) > LONGEST_WORDS or not (shop_name and reason):
        raise SealError("seal.words_length", most=LONGEST_WORDS)
    words = SealWords(_whole_seconds(at_utc), shop_name, reason)
    must_hold(keyring.seal_certificate, words.at)
    prepared = _prepare(pdf, words, cms.largest_length(keyring.seal_certificate))
    sealed = prepared.with_container(_container(keyring, prepared.digest))
    failures = verify_seal(sealed, (keyring.seal_certificate,)).failures
    if failures or not sealed.startswith(pdf):
        _refuse_what_no_record_holds(pdf)
        raise SealError("seal.did_not_verify", lines=", ".join(line.code for line in failures))
    return sealed


def _refuse_what_no_record_holds(pdf: bytes) -> None:
    """Say what is wrong with the bytes themselves.

    Looking for it costs as much as the rest of a seal, and what is sealed is looked through whole before it
    is handed out, so this is asked only where something failed.
    """
    found = forbidden_features(pdf, widgets=0)
    if found:
        raise SealError("seal.unfit", found=", ".join(found))


def _container(keyring: KeyRing, digest: bytes) -> bytes:
    """Sign the attributes, then choose the frame that fits the signature's length."""
    certificate = keyring.seal_certificate
    any_frame = cms.frame(certificate, cms.LARGEST_SIGNATURE_BYTES)
    signature = cms.sign(keyring.seal_key, any_frame.signed_bytes(any_frame.filled(digest, b"")))
    return cms.frame(certificate, len(signature)).filled(digest, signature)


def _prepare(pdf: bytes, words: SealWords, container_bytes: int) -> PreparedPdf:
    try:
        return pdf_update.prepare(pdf, words, container_bytes)
    except Exception as error:
        _refuse_what_no_record_holds(pdf)
        # pyHanko has many errors for bytes that it cannot read; all of them mean the same here.
        raise SealError("seal.no_pdf", why=str(error)[:200]) from error


def _whole_seconds(at_utc: str) -> datetime:
    try:
        moment = datetime.fromisoformat(at_utc)
    except ValueError:
        raise SealError("seal.time", typed=at_utc) from None
    if moment.tzinfo is None or moment.utcoffset():
        raise SealError("seal.time", typed=at_utc)
    return moment.replace(microsecond=0)
