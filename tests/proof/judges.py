"""What others wrote, asked about one file: pyHanko, poppler's pdfsig and `openssl cms` about the seal, qpdf
about the file, page about PDF/A-3a and PDF/UA-1.
"""

import re
import subprocess
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import page
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


# That a file says of itself that it follows PDF/UA: a record names PDF/A-3a alone.
SAYS_IT_IS = {"PDFUA1-ID-PART-001", "PDFUA1-ID-SCHEMA-001"}


def strays_from_pdf_a(pdf: bytes) -> list[str]:
    """The rules of PDF/A-3a (ISO 19005-3) that a file breaks, as page-validation tells them."""
    return _strays(pdf, page.ValidationProfile.PDF_A_3A)


def strays_from_pdf_ua(pdf: bytes) -> list[str]:
    """The same of PDF/UA-1 (ISO 14289-1), for whoever has a page read aloud."""
    found = _strays(pdf, page.ValidationProfile.PDF_UA_1)
    return [one for one in found if one.partition(":")[0] not in SAYS_IT_IS]


def _strays(pdf: bytes, profile: page.ValidationProfile) -> list[str]:
    report = page.validate_pdf_bytes(pdf, profile=profile)
    assert report.rules.total > 100
    return [f"{one.rule_id}: {one.message}" for one in report.failures]


def openssl_accepts(pdf: bytes, trusted: Sequence[x509.Certificate], folder: Path) -> bool:
    """Whether `openssl cms -verify` finds the CMS in the file signed by a trusted key over all bytes around
    it.

    The container and its range are cut out here, by what PDF says of them (ISO 32000-2, 12.8.1), with no line
    of the program's.
    """
    seals = re.findall(rb"/Contents <([0-9A-Fa-f]+)>\s*/ByteRange \[(\d+) (\d+) (\d+) (\d+)\s*\]", pdf)
    if len(seals) != 1:
        return False
    contents, (first, length, second, rest) = seals[0][0], map(int, seals[0][1:])
    whole = first == 0 and second + rest == len(pdf) and second - length == len(contents) + 2
    (folder / "seal.der").write_bytes(bytes.fromhex(contents.decode()))
    (folder / "signed").write_bytes(pdf[:length] + pdf[second : second + rest])
    (folder / "trusted.pem").write_bytes(b"".join(one.public_bytes(Encoding.PEM) for one in trusted))
    command = (
        "openssl cms -verify -binary -inform DER -in seal.der -content signed -CAfile trusted.pem "
        "-partial_chain -purpose any -no_check_time -out read"
    )
    asked = subprocess.run(command.split(), cwd=folder, capture_output=True, check=False)
    return whole and asked.returncode == 0


def qpdf_accepts(pdf: bytes, folder: Path) -> bool:
    """Whether `qpdf --check` finds neither an error nor anything to warn of."""
    path = folder / "checked.pdf"
    path.write_bytes(pdf)
    return subprocess.run(["qpdf", "--check", str(path)], capture_output=True, check=False).returncode == 0


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
