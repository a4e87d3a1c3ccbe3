"""The signature container inside a sealed PDF: one CMS SignedData, built in one way only.

Rules:
- CMS (RFC 5652) with one signer, SHA-256 and ECDSA on P-256, the signer's certificate and no other, nothing
  unsigned;
- signed attributes as PAdES B-B has them (ETSI EN 319 142-1 clause 6.3, from memory): content type, message
  digest, signing-certificate-v2 (RFC 5035), and no signing time, which stands in the PDF's /M; algorithm
  protection (RFC 6211) besides;
- of the two signatures (r, s) and (r, -s) that ECDSA takes for one message, the one with the smaller s:
  anybody could turn one into the other, and the file would be another file under a valid seal;
- DER throughout. Given the certificate, the digest and the signature, all other bytes follow. A verifier can
  therefore build the container again and compare: no byte of it is without meaning.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256

from asn1crypto import algos, cms, core, tsp
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding

DIGEST_BYTES = 32
LARGEST_SIGNATURE_BYTES = 71
SMALLEST_SIGNATURE_BYTES = 64
P256_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551
_SIGN = ec.ECDSA(SHA256(), deterministic_signing=True)
_VERIFY = ec.ECDSA(SHA256())


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of the container with a name; `start` is included, `end` is not."""

    name: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Frame:
    """All bytes of a container except digest and signature,
    for one certificate and one length of signature.
    """

    before: bytes
    certificate: Part
    attributes: Part
    digest: Part
    signature: Part

    @property
    def length(self) -> int:
        """Bytes of the whole container."""
        return self.signature.end

    def filled(self, digest: bytes, signature: bytes) -> bytes:
        """The container with this digest and this signature (DER) in their places."""
        return self.before[: self.digest.start] + digest + self.before[self.digest.end :] + signature

    def signed_bytes(self, container: bytes) -> bytes:
        """What the signature is made over: the signed attributes as a SET (RFC 5652 section 5.4)."""
        return b"\x31" + container[self.attributes.start + 1 : self.attributes.end]

    def name_of(self, offset: int) -> str:
        """Which part of the container the byte at `offset` belongs to."""
        for part in (self.certificate, self.digest, self.attributes, self.signature):
            if part.start <= offset < part.end:
                return part.name
        return "frame" if offset < self.length else "padding"


def frame(certificate: x509.Certificate, signature_bytes: int) -> Frame:
    """The frame for a signature of this many bytes in DER."""
    return _frame(certificate.public_bytes(Encoding.DER), signature_bytes)


def frames(certificate: x509.Certificate) -> Iterator[Frame]:
    """The frames for the lengths that a signature made by `sign` has, the likeliest first.

    Below 64 bytes one of r and s would start with 32 zero bits or more;
    a sealer that met it would refuse its own work.
    """
    lengths = sorted(range(SMALLEST_SIGNATURE_BYTES, LARGEST_SIGNATURE_BYTES + 1), key=lambda n: abs(n - 70))
    return (frame(certificate, length) for length in lengths)


def sign(key: ec.EllipticCurvePrivateKey, data: bytes) -> bytes:
    """ECDSA with SHA-256 in DER, deterministic (RFC 6979),
    with the smaller of the two values that s can take.
    """
    r, s = decode_dss_signature(key.sign(data, _SIGN))
    return encode_dss_signature(r, min(s, P256_ORDER - s))


def signature_fits(certificate: x509.Certificate, signature: bytes, data: bytes) -> bool:
    """Whether this is the one signature that `sign` gives: valid, in DER, with the smaller s."""
    public_key = certificate.public_key()
    if not isinstance(public_key, ec.EllipticCurvePublicKey):
        return False
    try:
        r, s = decode_dss_signature(signature)
        public_key.verify(signature, data, _VERIFY)
    except (InvalidSignature, ValueError):
        return False
    return encode_dss_signature(r, min(s, P256_ORDER - s)) == signature


def certificate_in(container: bytes) -> x509.Certificate | None:
    """The one certificate that a container carries, whoever's it is; None where none on P-256 can be read."""
    try:
        content = cms.ContentInfo.load(container)["content"]
        (found,) = (choice.chosen.dump() for choice in content["certificates"])
        certificate = x509.load_der_x509_certificate(found)
        key = certificate.public_key()
    except Exception:  # noqa: BLE001 - a stranger's bytes may stop a reader anywhere
        return None
    on_p256 = isinstance(key, ec.EllipticCurvePublicKey) and isinstance(key.curve, ec.SECP256R1)
    return certificate if on_p256 else None


def largest_length(certificate: x509.Certificate) -> int:
    """Bytes of the largest container that this certificate can come to."""
    return frame(certificate, LARGEST_SIGNATURE_BYTES).length


@lru_cache(maxsize=256)
def _frame(certificate_der: bytes, signature_bytes: int) -> Frame:
    certificate = asn1_x509.Certificate.load(certificate_der)
    digest = bytes(DIGEST_BYTES)
    attributes = _signed_attributes(certificate_der, digest)
    whole = _content_info(certificate, attributes, bytes(signature_bytes)).dump()
    # Inside the container the attributes carry the tag [0] in place of SET.
    attributes_der = b"\xa0" + attributes.dump()[1:]
    attributes_start = whole.rindex(attributes_der)
    certificate_start = whole.index(certificate_der)
    digest_start = attributes_start + attributes_der.index(b"\x04\x20" + digest) + 2
    signature_start = len(whole) - signature_bytes
    return Frame(
        whole[:signature_start],
        Part("certificate", certificate_start, certificate_start + len(certificate_der)),
        Part("signed attributes", attributes_start, attributes_start + len(attributes_der)),
        Part("message digest", digest_start, digest_start + DIGEST_BYTES),
        Part("signature value", signature_start, len(whole)),
    )


def _signed_attributes(certificate_der: bytes, digest: bytes) -> cms.CMSAttributes:
    certificate_id = tsp.ESSCertIDv2({"cert_hash": sha256(certificate_der).digest()})
    protection = cms.CMSAlgorithmProtection(
        {"digest_algorithm": _digest_algorithm(), "signature_algorithm": _signature_algorithm()}
    )
    values: dict[str, core.Asn1Value | str | bytes] = {
        "content_type": "data",
        "message_digest": digest,
        "signing_certificate_v2": tsp.SigningCertificateV2({"certs": [certificate_id]}),
        "cms_algorithm_protection": protection,
    }
    return cms.CMSAttributes(
        [cms.CMSAttribute({"type": name, "values": [value]}) for name, value in values.items()]
    )


def _content_info(
    certificate: asn1_x509.Certificate, attributes: cms.CMSAttributes, signature: bytes
) -> cms.ContentInfo:
    signer = cms.SignerInfo(
        {
            "version": "v1",
            "sid": cms.SignerIdentifier(
                "issuer_and_serial_number",
                cms.IssuerAndSerialNumber(
                    {"issuer": certificate.issuer, "serial_number": certificate.serial_number}
                ),
            ),
            "digest_algorithm": _digest_algorithm(),
            "signed_attrs": attributes,
            "signature_algorithm": _signature_algorithm(),
            "signature": signature,
        }
    )
    signed_data = cms.SignedData(
        {
            "version": "v1",
            "digest_algorithms": [_digest_algorithm()],
            "encap_content_info": {"content_type": "data"},
            "certificates": [cms.CertificateChoices("certificate", certificate)],
            "signer_infos": [signer],
        }
    )
    return cms.ContentInfo({"content_type": "signed_data", "content": signed_data})


def _digest_algorithm() -> algos.DigestAlgorithm:
    return algos.DigestAlgorithm({"algorithm": "sha256"})


def _signature_algorithm() -> algos.SignedDigestAlgorithm:
    return algos.SignedDigestAlgorithm({"algorithm": "sha256_ecdsa"})
