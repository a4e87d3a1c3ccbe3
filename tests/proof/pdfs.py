"""Small PDFs to seal, and seals made past the checks that `seal` makes first."""

import warnings
from datetime import UTC, datetime
from functools import lru_cache

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from pyhanko.sign.signers.pdf_byterange import BuildProps
from weasyprint import HTML, Attachment

from webapp.proof.pdf import cms, pdf_update

PAGES = (
    "<html lang='en'><head><title>Record</title><style>@page { size: A5 }</style></head>"
    "<body><h1>Record of a setup</h1><p>X 12.345 mm</p><p style='break-before: page'>Second "
    "page</p></body></html>"
)
AT = datetime(2026, 11, 25, 8, 3, 12, tzinfo=UTC)
AT_UTC = "2026-11-25T08:03:12.345Z"
SHOP = "Millbrook Teaching Shop"
REASON = "Record of a finished setup"


def pdf_of(
    html: str, files: dict[str, bytes], variant: str = "pdf/a-3u", identifier: bytes = b"0123456789abcdef"
) -> bytes:
    """A PDF that comes out the same each time."""
    attached = [
        Attachment(string=data.decode(), name=name, relationship="Data", created=AT, modified=AT)
        for name, data in files.items()
    ]
    with warnings.catch_warnings():
        # The renderer leaves its colour profile open; that is not what is tested here.
        warnings.simplefilter("ignore", ResourceWarning)
        return bytes(
            HTML(string=html).write_pdf(pdf_variant=variant, pdf_identifier=identifier, attachments=attached)
        )


@lru_cache
def plain_pdf() -> bytes:
    """Two pages and one attachment."""
    return pdf_of(PAGES, {"record.json": b'{"a":1}'})


def seal_anything(
    pdf: bytes,
    key: ec.EllipticCurvePrivateKey,
    certificate: x509.Certificate,
    at: datetime = AT,
    made_by: BuildProps = pdf_update.WRITER,
) -> bytes:
    """What `seal` would make if it took every PDF and checked nothing."""
    prepared = pdf_update.prepare(
        pdf, pdf_update.SealWords(at, SHOP, REASON), cms.largest_length(certificate), made_by
    )
    return prepared.with_container(container_for(prepared.digest, key, certificate))


def container_for(digest: bytes, key: ec.EllipticCurvePrivateKey, certificate: x509.Certificate) -> bytes:
    """A signature container over this digest."""
    frame = cms.frame(certificate, cms.LARGEST_SIGNATURE_BYTES)
    signature = cms.sign(key, frame.signed_bytes(frame.filled(digest, b"")))
    return cms.frame(certificate, len(signature)).filled(digest, signature)
