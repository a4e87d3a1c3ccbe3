"""The one incremental update that a seal appends to a PDF, byte for byte the same each time.

Rules:
- ISO 32000-2 clause 12.8 (from memory): one signature field with one widget on the first page, a
  certification signature with DocMDP permission 1, "no changes", named in the catalog's /Perms; /SubFilter
  ETSI.CAdES.detached;
- the bytes before the update stay as they were; the document's metadata are not touched, since a second
  producer would break PDF/A;
- the widget has no size and lies outside the page, has words for a screen reader, and the page has a tab
  order, as PDF/UA wants of a page with an annotation (ISO 14289-1 clause 7.18, from memory);
- nothing in the update comes from a clock or from chance: the second half of the file identifier is a hash of
  the bytes before, the cross-reference stream is left uncompressed. So a verifier can write the update again
  and compare.

pyHanko writes the objects. Three of its writer's steps are replaced below for the reasons above.
"""

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.xref import XRefStream
from pyhanko.sign.fields import InvisSigSettings, MDPPerm, SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.signers.cms_embedder import PdfCMSEmbedder, SigIOSetup, SigMDPSetup, SigObjSetup
from pyhanko.sign.signers.constants import ESIC_EXTENSION_1
from pyhanko.sign.signers.pdf_byterange import BuildProps, SignatureObject
from pyhanko.version import __version__ as pyhanko_version

FIELD_NAME = "Seal"
FIELD_WORDS = "Seal of the record"
WRITER = BuildProps(name="zerokeep", revision=f"1 with pyHanko {pyhanko_version}")

_UNSEEN = InvisSigSettings(set_print_flag=True, set_hidden_flag=False, box_out_of_bounds=True)


@dataclass(frozen=True, slots=True)
class SealWords:
    """What the seal says in the open: when (aware, whole seconds), in whose name, and why."""

    at: datetime
    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class PreparedPdf:
    """A PDF with its update and an empty signature container.

    `contents_start` is the offset of the container's "<", `contents_end` the offset behind its ">"; `digest`
    is the SHA-256 of everything outside.
    """

    data: bytes
    contents_start: int
    contents_end: int
    digest: bytes

    def with_container(self, container: bytes) -> bytes:
        """The whole file with this container in its place, in upper-case hex, zeros behind it."""
        hex_digits = (
            container.hex().upper().encode("ascii").ljust(self.contents_end - self.contents_start - 2, b"0")
        )
        return self.data[: self.contents_start + 1] + hex_digits + self.data[self.contents_end - 1 :]


def prepare(pdf: bytes, words: SealWords, container_bytes: int, made_by: BuildProps = WRITER) -> PreparedPdf:
    """Append the update with room for a container of exactly `container_bytes`.

    `made_by` names the version that writes it, for a verifier that can then tell whether it may write it
    again. Raises pyHanko's PdfError, ValueError or KeyError for bytes that are no PDF or that hold such a
    field already.
    """
    writer = _UpdateWriter(BytesIO(pdf), strict=True)
    writer.register_extension(ESIC_EXTENSION_1)
    page = writer.find_page_for_modification(0)[0].get_object()  # type: ignore[no-untyped-call]
    page["/Tabs"] = generic.pdf_name("/S")
    spec = SigFieldSpec(FIELD_NAME, readable_field_name=FIELD_WORDS, invis_sig_settings=_UNSEEN)
    steps = PdfCMSEmbedder(new_field_spec=spec).write_cms(FIELD_NAME, writer)
    next(steps)
    placeholder = SignatureObject(
        timestamp=words.at,
        subfilter=SigSeedSubFilter.PADES,
        name=words.name,
        reason=words.reason,
        app_build_props=made_by,
        bytes_reserved=2 * container_bytes,
    )
    mdp = SigMDPSetup(md_algorithm="sha256", certify=True, docmdp_perms=MDPPerm.NO_CHANGES)
    steps.send(SigObjSetup(sig_placeholder=placeholder, mdp_setup=mdp))
    digest, output = steps.send(SigIOSetup(md_algorithm="sha256"))
    return PreparedPdf(
        output.getvalue(), digest.reserved_region_start, digest.reserved_region_end, digest.document_digest
    )


class _UpdateWriter(IncrementalPdfFileWriter):
    """pyHanko's writer without its clock, its chance and its compression."""

    def _update_meta(self) -> None:
        """Leave /Info and the XMP metadata as they are."""

    @classmethod
    def _handle_id(cls, prev: Any) -> generic.ArrayObject:
        prev.stream.seek(0)
        second = sha256(prev.stream.read()).digest()[:16]
        first = prev.trailer["/ID"][0]
        first_bytes = getattr(first, "original_bytes", first)
        return generic.ArrayObject([generic.ByteStringObject(part) for part in (first_bytes, second)])

    def _write(self, stream: Any, skip_header: bool = False) -> None:
        """Write the update behind the former bytes;
        as pyHanko does, but with the cross-references uncompressed.
        """
        if not self.stream_xrefs:
            super()._write(stream, skip_header=skip_header)
            return
        positions: dict[tuple[int, int], int | tuple[int, int]] = {}
        trailer = XRefStream(positions)
        if not skip_header:
            self._write_header(stream)  # type: ignore[no-untyped-call]
        self._populate_trailer(trailer)  # type: ignore[no-untyped-call]
        self._write_objects(stream, positions)
        number, start = self._lastobj_id + 1, stream.tell()
        positions[(0, number)] = start
        trailer[generic.pdf_name("/Size")] = generic.NumberObject(number + 1)
        stream.write(b"%d 0 obj\n" % number)
        trailer.write_to_stream(stream, None)
        stream.write(b"\nendobj\n\nstartxref\n%d\n%%%%EOF\n" % start)
