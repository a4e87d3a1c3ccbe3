"""Sealing a printed record in the name and at the time that it states itself.

The seal's time has to be the record's own `sealed_at_utc`, which a verifier compares, and its name the record's shop.
Whoever seals should not be able to get either wrong, so both are read from the record inside the PDF.
"""

from webapp.domain.plain.errors import DomainError
from webapp.domain.record.bundle import from_files
from webapp.proof.errors import SealError
from webapp.proof.keys import KeyRing
from webapp.proof.pdf_attachments import AttachmentsUnreadableError, attachments
from webapp.proof.pdf_seal import seal
from webapp.words import say


def seal_record(pdf: bytes, keyring: KeyRing, reason: str) -> bytes:
    """The sealed record; `pdf` is what the record room's `render` gave. Raises SealError, also as `seal` does."""
    try:
        record = from_files(attachments(pdf)).record
        at_utc, shop_name = str(record["sealed_at_utc"]), str(record["shop"])
    except AttachmentsUnreadableError as error:
        raise SealError("seal.no_record", why=str(error)) from error
    except DomainError as refused:
        raise SealError("seal.no_record", why=say(refused.code, refused.fields)) from refused
    except KeyError as missing:
        raise SealError("seal.no_record", why=str(missing)) from missing
    return seal(pdf, keyring, at_utc, shop_name, reason)
