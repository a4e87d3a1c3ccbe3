"""Whether a PDF carries a whole and known seal, and where it does not.

Rules:
- accepted is one form only: the file that `pdf_seal` writes. Signature over the entire file, certification
  with "no changes", one of the certificates that the caller trusts. The system's certificates are never
  asked;
- a seal under another certificate is not accepted, and the report says whose it is not. Everything else is
  judged by the certificate in the file all the same: it tells a record of another shop, or of a time before a
  key was renewed, from one that was altered;
- every byte has to be accounted for. The signature covers all bytes outside its container; the container is
  built again from its certificate, digest and signature and compared, since bytes of it (padding, spelling of
  the hexadecimal digits) mean nothing to a signature check; the update is written again and compared as well;
- the bytes are judged first and without reading the PDF as a document. Only a file whose digest is right is
  read, by a strict reader, and then pyHanko has to agree (ETSI EN 319 142-1; ISO 32000-2 clause 12.8).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256

from webapp.proof.pdf import cms, pdf_update
from webapp.proof.pdf.pdf_features import forbidden_features
from webapp.proof.pdf.pdf_judge import judge
from webapp.proof.pdf.pdf_layout import (
    Seal,
    base_length,
    find_seals,
    first_difference,
    object_before,
    read_words,
    read_writer,
    words_span,
    write_again,
)
from webapp.proof.pdf.pdf_unfolding import swells
from webapp.proof.report import Line, Report, failed, held

LARGEST_PDF_BYTES = 64 * 1024 * 1024
LARGEST_CONTAINER_BYTES = 8 * 1024
LARGEST_UNFOLDED_BYTES = 256 * 1024 * 1024

_NOT_READ = [failed("seal.judge", "not_asked"), failed("seal.content", "not_asked")]

Certificates = Sequence[x509.Certificate]


@dataclass(frozen=True, slots=True)
class SealCheck(Report):
    """The report on a seal, and what a further look at the record may build on."""

    may_be_read: bool = False


@dataclass(frozen=True, slots=True)
class _Container:
    """What was decoded of a container, and the certificate and frame that fit it best."""

    data: bytes
    certificate: x509.Certificate
    frame: cms.Frame

    @property
    def digest(self) -> bytes:
        return self.data[self.frame.digest.start : self.frame.digest.end]

    @property
    def signature(self) -> bytes:
        return self.data[self.frame.signature.start : self.frame.signature.end]


def verify_seal(pdf: bytes, trusted_certificates: Certificates) -> SealCheck:
    """Judge the seal of one file. Never raises for what the file holds: it says so in its lines.

    `trusted_certificates` are the seal certificates to accept, at least one.
    """
    if not trusted_certificates:
        raise ValueError("no trusted certificate was given; the system's are never used")
    if len(pdf) > LARGEST_PDF_BYTES:
        too_large = failed("seal.place", "file_too_large", bytes=len(pdf), most=LARGEST_PDF_BYTES)
        return SealCheck((too_large, *_NOT_READ))
    seals = find_seals(pdf)
    if len(seals) != 1:
        return _without_seal(pdf, trusted_certificates, len(seals))
    return _with_seal(pdf, trusted_certificates, seals[0])


def _without_seal(pdf: bytes, trusted: Certificates, seals: int) -> SealCheck:
    place = failed("seal.place", "none") if seals == 0 else failed("seal.place", "several", seals=seals)
    # Perhaps one byte of the seal's own form was altered: then the update still shows where.
    update = _update_line(pdf, trusted[0], digest_is_right=False)
    return SealCheck((place, update, *_NOT_READ))


def _with_seal(pdf: bytes, trusted: Certificates, seal: Seal) -> SealCheck:
    lines = [held("seal.place", start=seal.contents_start, end=seal.contents_end), _coverage_line(pdf, seal)]
    container = _best_container(seal, trusted)
    digest = sha256(pdf[: seal.contents_start] + pdf[seal.contents_end :]).digest()
    lines.append(_container_line(seal, container))
    lines.append(_certificate_line(container, trusted))
    lines.append(_signature_line(seal, container, digest))
    lines.append(_digest_line(container, digest))
    by_code = {line.code: line.holds for line in lines}
    lines.append(_update_line(pdf, container.certificate, digest_is_right=by_code["seal.digest"]))
    lines.append(_words_line(pdf, container.certificate))
    known = container.certificate in trusted
    whole = all(line.holds for line in lines if known or line.code != "seal.certificate")
    # A stranger's seal fits a stranger's bytes: nothing of them is unfolded that would not stay small.
    if whole and swells(pdf, LARGEST_UNFOLDED_BYTES):
        return SealCheck(
            (*lines, failed("seal.judge", "too_large", most=LARGEST_UNFOLDED_BYTES), _NOT_READ[1])
        )
    roots = trusted if known else [container.certificate]
    lines += [_judge_line(pdf, roots), _features_line(pdf)] if whole else _NOT_READ
    return SealCheck(tuple(lines), by_code["seal.signature"] and by_code["seal.digest"])


def _coverage_line(pdf: bytes, seal: Seal) -> Line:
    if not seal.covers_all_of(len(pdf)):
        return failed(
            "seal.coverage", "not_whole", byte_range=seal.byte_range.decode("ascii")[:60], bytes=len(pdf)
        )
    return held("seal.coverage", bytes=len(pdf))


def _best_container(seal: Seal, trusted: Certificates) -> _Container:
    """Build the container again for each certificate and length until one fits; else take the nearest.

    The one in the file comes last: it counts only where it fits better than every known one.
    """
    data = _decoded(seal.hex_digits[: 2 * LARGEST_CONTAINER_BYTES])
    best: tuple[int, _Container] | None = None
    carried = cms.certificate_in(data)
    for certificate in (*trusted, *([carried] if carried is not None else ())):
        for frame in cms.frames(certificate):
            expected = _expected(frame, data)
            wrong = _count_differences(expected, data)
            if best is None or wrong < best[0]:
                best = (wrong, _Container(data, certificate, frame))
            if wrong == 0:
                return best[1]
    if best is None:
        raise ValueError("no certificate to build a container with")
    return best[1]


def _decoded(hex_digits: bytes) -> bytes:
    """The container's bytes; a digit that is none counts
    as 0 here and is found again by `_container_line`.
    """
    clean = bytes(digit if digit in b"0123456789ABCDEFabcdef" else 0x30 for digit in hex_digits)
    return bytes.fromhex(clean.decode("ascii")[: len(clean) // 2 * 2])


def _expected(frame: cms.Frame, data: bytes) -> bytes:
    filled = frame.filled(
        data[frame.digest.start : frame.digest.end], data[frame.signature.start : frame.signature.end]
    )
    return filled.ljust(len(data), b"\x00")


def _count_differences(one: bytes, other: bytes) -> int:
    if one == other:
        return 0
    length = min(len(one), len(other))
    # Equal bytes are the zeros of the exclusive or.
    apart = int.from_bytes(one[:length], "big") ^ int.from_bytes(other[:length], "big")
    return max(len(one), len(other)) - apart.to_bytes(length, "big").count(0)


def _container_line(seal: Seal, container: _Container) -> Line:
    """Compare digit by digit, so that another spelling of the same bytes is found too."""
    size = cms.largest_length(container.certificate)
    expected = _expected(container.frame, container.data).hex().upper().encode("ascii")
    place = first_difference(expected, seal.hex_digits, max(len(expected), len(seal.hex_digits)))
    if place is None and len(seal.hex_digits) == 2 * size:
        return held("seal.container", bytes=size)
    place = min(2 * size, len(seal.hex_digits)) if place is None else place
    return failed(
        "seal.container",
        "altered",
        part=container.frame.name_of(place // 2),
        offset=seal.contents_start + 1 + place,
        expected_bytes=size,
        bytes=len(seal.hex_digits) // 2,
    )


def _certificate_line(container: _Container, trusted: Certificates) -> Line:
    part = container.frame.certificate
    name = container.certificate.subject.rfc4514_string()
    fingerprint = container.certificate.fingerprint(SHA256()).hex()
    expected = container.frame.before[part.start : part.end]
    if container.certificate not in trusted:
        since = container.certificate.not_valid_before_utc.date().isoformat()
        return failed(
            "seal.certificate", "not_ours", name=name, sha256=fingerprint, since=since, known=len(trusted)
        )
    if container.data[part.start : part.end] == expected:
        return held("seal.certificate", name=name, sha256=fingerprint)
    return failed("seal.certificate", "unknown", known=len(trusted))


def _signature_line(seal: Seal, container: _Container, digest: bytes) -> Line:
    part = container.frame.signature
    if _signature_fits(container, container.data):
        return held("seal.signature")
    # With everything else put right, the signature tells whether it was itself altered.
    repaired = container.frame.filled(digest, container.signature)
    if _signature_fits(container, repaired):
        place = first_difference(repaired, container.data, len(repaired)) or container.frame.digest.start
        offset = seal.contents_start + 1 + 2 * place
        return failed("seal.signature", "repaired", offset=offset)
    first = seal.contents_start + 1 + 2 * part.start
    return failed("seal.signature", "wrong", first=first, last=first + 2 * (part.end - part.start) - 1)


def _signature_fits(container: _Container, data: bytes) -> bool:
    return cms.signature_fits(container.certificate, container.signature, container.frame.signed_bytes(data))


def _digest_line(container: _Container, digest: bytes) -> Line:
    if container.digest == digest:
        return held("seal.digest", sha256=digest.hex())
    return failed("seal.digest", "differs", sealed=container.digest.hex(), found=digest.hex())


def _update_line(pdf: bytes, certificate: x509.Certificate, *, digest_is_right: bool) -> Line:
    """Write the update again and compare it, the container aside."""
    writer = read_writer(pdf)
    if digest_is_right and writer not in {None, pdf_update.WRITER.revision}:
        return Line(
            "seal.update", holds=True, says="seal.update.other_version", fields={"writer": str(writer)}
        )
    again = write_again(pdf, certificate)
    if again is None:
        return failed("seal.update", "unreadable", start=base_length(pdf))
    found = pdf[: again.contents_start + 1].ljust(again.contents_start + 1, b"\x00")
    same_as_written = again.data[again.contents_start + 1 : again.contents_end - 1]
    found += same_as_written + pdf[again.contents_end - 1 :]
    place = first_difference(again.data, found, max(len(again.data), len(found)))
    if place is None:
        return held("seal.update", start=base_length(pdf), end=len(pdf))
    number = object_before(again.data, base_length(pdf), place)
    return failed("seal.update", "altered", offset=place, object=number if number is not None else 0)


def _words_line(pdf: bytes, certificate: x509.Certificate) -> Line:
    words, span = read_words(pdf), words_span(pdf)
    if words is None or span is None:
        return failed("seal.words", "unreadable")
    fields = {"at": words.at.isoformat().replace("+00:00", "Z"), "name": words.name, "reason": words.reason}
    if not certificate.not_valid_before_utc <= words.at <= certificate.not_valid_after_utc:
        return failed("seal.words", "outside_certificate", **fields)
    return held("seal.words", first=span[0], last=span[1] - 1, **fields)


def _judge_line(pdf: bytes, trusted: Certificates) -> Line:
    words = read_words(pdf)
    against = judge(pdf, trusted, words.at) if words else ["words"]
    return failed("seal.judge", "against", why=", ".join(against)) if against else held("seal.judge")


def _features_line(pdf: bytes) -> Line:
    found = forbidden_features(pdf, widgets=1)
    return failed("seal.content", "forbidden", found=", ".join(found)) if found else held("seal.content")
