"""Two verifiers that others wrote, asked about one file: pyHanko and poppler's pdfsig."""

import subprocess
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import SignatureCoverageLevel, validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from tests.proof.pdfs import AT


def pyhanko_accepts(pdf: bytes, trusted: Sequence[x509.Certificate], moment: datetime = AT) -> bool:
    """Whether pyHanko, strict, finds one signature, valid then, by a trusted key, over the entire file.

    Asked in a thread of its own, because it runs an event loop and a browser test may have left one running
    here.
    """
    with ThreadPoolExecutor(max_workers=1) as thread:
        return thread.submit(_pyhanko_accepts, pdf, trusted, moment).result()


def _pyhanko_accepts(pdf: bytes, trusted: Sequence[x509.Certificate], moment: datetime) -> bool:
    roots = [asn1_x509.Certificate.load(one.public_bytes(Encoding.DER)) for one in trusted]
    context = ValidationContext(trust_roots=roots, allow_fetching=False, moment=moment)
    try:
        (signature,) = PdfFileReader(BytesIO(pdf), strict=True).embedded_signatures
        status: Any = validate_pdf_signature(signature, signer_validation_context=context)
    except Exception:  # noqa: BLE001 - whatever stops it, it has not accepted
        return False
    return bool(status.bottom_line) and status.coverage == SignatureCoverageLevel.ENTIRE_FILE


def pdfsig_accepts(pdf: bytes, folder: Path) -> bool:
    """Whether pdfsig finds one signature, valid, over the total document (its exit code tells nothing).

    The certificate is left out (-nocert):
    poppler's store trusts self-signed certificates only as authorities over others, which the seal's is not.
    """
    path = folder / "asked.pdf"
    path.write_bytes(pdf)
    asked = subprocess.run(["pdfsig", "-nocert", str(path)], capture_output=True, text=True, check=False)
    said = asked.stdout
    one = said.count("Signature #") == 1
    return one and "Signature Validation: Signature is Valid." in said and "  - Total document signed" in said
