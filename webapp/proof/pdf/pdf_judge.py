"""The second opinion on a sealed PDF:
pyHanko's strict reader and validator, our certificates its only roots.
"""

import logging
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from io import BytesIO
from typing import Any

from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import MDPPerm
from pyhanko.sign.validation import SignatureCoverageLevel, validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

REVISIONS = 2


def judge(pdf: bytes, trusted_certificates: Sequence[x509.Certificate], at: datetime) -> list[str]:
    """What speaks against the file, in a word each; an empty list if nothing does.
    `at` is when it was sealed.

    Asked in a thread of its own: pyHanko runs an event loop for each question,
    which a thread whose loop is running already cannot.
    """
    with ThreadPoolExecutor(max_workers=1) as thread:
        return thread.submit(_judged, pdf, trusted_certificates, at).result()


def _judged(pdf: bytes, trusted_certificates: Sequence[x509.Certificate], at: datetime) -> list[str]:
    try:
        return list(_against(PdfFileReader(BytesIO(pdf), strict=True), trusted_certificates, at))
    except Exception as error:  # noqa: BLE001 - a validator that stops, for whatever reason, has not agreed
        return [type(error).__name__]


def _against(reader: Any, trusted: Sequence[x509.Certificate], at: datetime) -> Iterator[str]:
    if reader.xrefs.hybrid_xrefs_present:
        yield "hybrid file"
    if reader.xrefs.total_revisions != REVISIONS:
        yield "revisions"
    if reader.encrypted:
        yield "encrypted"
    signatures = reader.embedded_signatures
    if len(signatures) != 1:
        yield "number of signatures"
        return
    signature = signatures[0]
    if (
        signature.docmdp_level != MDPPerm.NO_CHANGES
        or reader.root["/Perms"]["/DocMDP"] != signature.sig_object
    ):
        yield "no certification"
    roots = [asn1_x509.Certificate.load(one.public_bytes(Encoding.DER)) for one in trusted]
    context = ValidationContext(trust_roots=roots, allow_fetching=False, moment=at)
    status = validate_pdf_signature(signature, signer_validation_context=context)
    if status.coverage != SignatureCoverageLevel.ENTIRE_FILE:
        yield "coverage"
    if not status.bottom_line:
        yield "signature or certificate"


logging.getLogger("pyhanko").setLevel(logging.ERROR)
