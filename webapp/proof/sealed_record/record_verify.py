"""Whether a record is whole: its seal, the events inside, and that its pages say what the events say.

Rules:
- the file's hash comes first when the ledger's is known: a valid seal on another file is not this record;
- the seal and the bytes next (see pdf_verify.py). What is inside is read only if the signature fits its
  certificate and the digest fits the bytes, and read strictly: a container can be cut out and put behind
  anything;
- whose seal it is, is a line of its own.
  Under a certificate that is not known the rest is judged all the same;
- where no ledger is asked, that the listed keys are the shop's tablets is the sealer's word,
  and the report says so;
- then the events (see record_events.py), and their places in the ledger (see record_ledger.py);
- last the pages. A record is a pure function of the files attached to it, so it is rendered again from them
  and has to give the same bytes. Only where another version of the renderer made it, the text of every page
  is compared instead, and the report says so. Pages of another edition (webapp.domain.record.edition) cannot
  be printed again here: the report says that they were not looked at, and nothing fails for it;
- the report says where: the offset of the first byte that differs and what it belongs to.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from io import BytesIO
from typing import Any

from cryptography import x509

from webapp.domain.plain.errors import DomainError
from webapp.domain.record.bundle import RecordBundle, from_files
from webapp.domain.record.edition import PAGES_EDITION, edition_of
from webapp.proof.ledger.signed_note import NoteVerifier
from webapp.proof.pdf.pdf_attachments import AttachmentsUnreadableError, attachments, place_of
from webapp.proof.pdf.pdf_layout import base_length, first_difference, read_words
from webapp.proof.pdf.pdf_verify import verify_seal
from webapp.proof.report import NOT_ON_LEDGER, Line, Report, failed, held, not_looked_at, refusal_words
from webapp.proof.sealed_record.record_events import check_events
from webapp.proof.sealed_record.record_ledger import check_ledger

Render = Callable[[RecordBundle], bytes]
Hear = Callable[[Report], object]


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the caller gave."""

    pdf: bytes
    render: Render | None
    renderer: Mapping[str, str] | None
    head_keys: Sequence[NoteVerifier] | None
    hear: Hear | None

    @property
    def base(self) -> bytes:
        """The bytes before the seal."""
        return self.pdf[: base_length(self.pdf)]


def verify_record(
    pdf: bytes,
    trusted_certificates: Sequence[x509.Certificate],
    render: Render | None,
    known_sha256: str | None = None,
    renderer: Mapping[str, str] | None = None,
    head_keys: Sequence[NoteVerifier] | None = None,
    hear: Hear | None = None,
) -> Report:
    """Judge one sealed record. Never raises for what the file holds.

    `render` gives the unsealed bytes of a bundle, None leaves the pages out; `known_sha256` is the hash on
    the ledger, NOT_ON_LEDGER if it is not there (a stolen key can seal too), None if there is no ledger to
    ask; `renderer` are the versions that `render` uses, as `record.json` names them: if they differ from the
    record's, text is compared where bytes differ. Without `renderer` only equal bytes hold.
    `head_keys` are the keys of the shop's ledger, None where nobody gave any. `hear` gets what is found of
    all but the pages before they are printed again, which takes longer than all the rest.
    """
    check = verify_seal(pdf, trusted_certificates)
    lines = [*_known_lines(pdf, known_sha256), *check.lines]
    if not check.may_be_read:
        return Report((*lines, failed("record.files", "not_asked")))
    asked = _Asked(pdf, render, renderer, head_keys, hear)
    tablets = [not_looked_at("record.tablets", "sealers_word")] if known_sha256 is None else []
    return Report((*lines, *_record_lines(asked, lines), *tablets))


def _known_lines(pdf: bytes, known_sha256: str | None) -> list[Line]:
    if known_sha256 is None:
        return []
    found = sha256(pdf).hexdigest()
    if known_sha256 == NOT_ON_LEDGER:
        return [failed("file.known", "not_on_ledger", found=found)]
    if found == known_sha256:
        return [held("file.known", sha256=found)]
    return [failed("file.known", "differs", found=found, known=known_sha256)]


def _record_lines(asked: _Asked, before: Sequence[Line]) -> list[Line]:
    """What holds of what is inside; `before` is what was found outside of it."""
    try:
        bundle = from_files(attachments(asked.base))
        setup, sealed_at = str(bundle.record["setup"]), str(bundle.record["sealed_at_utc"])
    except AttachmentsUnreadableError as error:
        return [failed("record.files", "unreadable", why=str(error))]
    except DomainError as refused:
        return [failed("record.files", "refused", refusal=refusal_words(refused))]
    except KeyError as missing:
        return [failed("record.files", "unreadable", why=str(missing))]
    lines = [
        held("record.files", names=", ".join(bundle.files())),
        *check_events(bundle, setup),
        *check_ledger(bundle, asked.head_keys),
        _sealed_at_line(asked.pdf, sealed_at),
    ]
    if asked.hear is not None:
        asked.hear(Report((*before, *lines)))
    return [*lines, _page_line(asked, bundle)]


def _sealed_at_line(pdf: bytes, sealed_at_utc: str) -> Line:
    words = read_words(pdf)
    try:
        expected = datetime.fromisoformat(sealed_at_utc).replace(microsecond=0)
    except ValueError:
        return failed("record.time", "unreadable")
    if words is None or words.at != expected:
        return failed("record.time", "differs", recorded=sealed_at_utc)
    return held("record.time", recorded=sealed_at_utc)


def _page_line(asked: _Asked, bundle: RecordBundle) -> Line:
    edition = edition_of(bundle.record)
    if edition is None:
        return failed("record.page", "edition_unreadable")
    if edition != PAGES_EDITION:
        how = "earlier_edition" if edition < PAGES_EDITION else "later_edition"
        return not_looked_at("record.page", how, edition=edition, own=PAGES_EDITION)
    if asked.render is None:
        return not_looked_at("record.page", "left_out")
    return _printed_again_line(asked.render, asked, bundle)


def _printed_again_line(render: Render, asked: _Asked, bundle: RecordBundle) -> Line:
    try:
        expected = render(bundle)
    except Exception as error:  # noqa: BLE001 - altered data may stop a renderer anywhere
        return failed("record.page", "not_rendered", why=type(error).__name__)
    end = base_length(asked.pdf)
    place = first_difference(expected, asked.pdf[:end], max(len(expected), end))
    if place is None:
        return held("record.page", bytes=end)
    if _is_another_renderer(asked.renderer, bundle.record):
        return _text_line(expected, asked.base)
    return _difference_line(expected, place)


def _difference_line(expected: bytes, place: int) -> Line:
    where = place_of(expected, place)
    fields: dict[str, str | int] = {"offset": place, "object": where.object_number, "name": where.name}
    return failed("record.page", f"differs_{where.kind}", **fields)


def _is_another_renderer(renderer: Mapping[str, str] | None, record: Mapping[str, Any]) -> bool:
    return renderer is not None and dict(renderer) != record.get("renderer")


def _text_line(expected: bytes, found: bytes) -> Line:
    """Compare what the pages say, page by page."""
    one, other = (_page_texts(data) for data in (expected, found))
    if len(one) != len(other):
        return failed("record.page", "other_page_count", expected=len(one), found=len(other))
    for number, (expected_text, found_text) in enumerate(zip(one, other, strict=True), start=1):
        if expected_text != found_text:
            return failed("record.page", "other_text", page=number)
    return Line("record.page", holds=True, says="record.page.same_text", fields={"pages": len(one)})


def _page_texts(pdf: bytes) -> list[str]:
    from pypdf import PdfReader  # noqa: PLC0415 - for records that another version printed, no others

    return [" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(pdf), strict=True).pages]
