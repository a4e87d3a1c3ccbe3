"""Published ways to make a changed PDF look sealed, each as a function from a sealed file to a forged one.

Sources: "1 Trillion Dollar Refund: How To Spoof PDF Signatures" (CCS 2019: universal forgery, incremental
saving, signature wrapping), "Shadow Attacks" (NDSS 2021: hide, replace, hide and replace), "Breaking the
Specification: PDF Certification" (IEEE S&P 2021: evil annotation, sneaky signature), as described on
pdf-insecurity.org. Written anew for the files of this project; no attack file is copied.
"""

import re
from collections.abc import Callable
from io import BytesIO
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.generic import pdf_name, pdf_string
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.signers.cms_embedder import PdfCMSEmbedder, SigAppearanceSetup, SigIOSetup, SigObjSetup
from pyhanko.sign.signers.pdf_byterange import SignatureObject
from pyhanko.stamp import TextStampStyle

from tests.proof.pdfs import AT, SHOP, container_for, plain_pdf, seal_anything
from webapp.proof.keys.key_ring import KeyRing, seal_certificate
from webapp.proof.pdf import cms
from webapp.proof.pdf.pdf_layout import find_seals

Forge = Callable[[bytes, KeyRing], bytes]


def _contents(pdf: bytes) -> tuple[int, int]:
    (seal,) = find_seals(pdf)
    return seal.contents_start, seal.contents_end


def _with_contents(pdf: bytes, contents: bytes) -> bytes:
    """Another value of /Contents, filled up with blanks so that no offset moves."""
    start, end = _contents(pdf)
    return pdf[:start] + contents.ljust(end - start) + pdf[end:]


def _with_byte_range(pdf: bytes, make: Callable[[int, int, int], bytes]) -> bytes:
    """Another value of /ByteRange in the same room."""
    match = re.search(rb"/ByteRange (\[0 (\d+) (\d+) (\d+)\] *)\n", pdf)
    assert match is not None
    value = make(*(int(match.group(place)) for place in (2, 3, 4)))
    return pdf[: match.start(1)] + value.ljust(len(match.group(1))) + pdf[match.end(1) :]


# Universal forgery: the seal's own entries made unusable, hoping for a reader that then asks nothing.


def empty_contents(pdf: bytes, _: KeyRing) -> bytes:
    return _with_contents(pdf, b"<>")


def blank_contents(pdf: bytes, _: KeyRing) -> bytes:
    start, end = _contents(pdf)
    return pdf[:start] + b"<" + b" " * (end - start - 2) + b">" + pdf[end:]


def zero_contents(pdf: bytes, _: KeyRing) -> bytes:
    start, end = _contents(pdf)
    return _with_contents(pdf, b"<" + b"0" * (end - start - 2) + b">")


def one_byte_contents(pdf: bytes, _: KeyRing) -> bytes:
    return _with_contents(pdf, b"<30>")


def null_contents(pdf: bytes, _: KeyRing) -> bytes:
    return _with_contents(pdf, b"null")


def absent_contents(pdf: bytes, _: KeyRing) -> bytes:
    return pdf.replace(b"/Contents <30", b"/Kontents <30")


def absent_byte_range(pdf: bytes, _: KeyRing) -> bytes:
    return pdf.replace(b"/ByteRange [", b"/ByteRanje [")


def null_byte_range(pdf: bytes, _: KeyRing) -> bytes:
    return _with_byte_range(pdf, lambda *_: b"null")


def empty_byte_range(pdf: bytes, _: KeyRing) -> bytes:
    return _with_byte_range(pdf, lambda *_: b"[]")


def zero_byte_range(pdf: bytes, _: KeyRing) -> bytes:
    return _with_byte_range(pdf, lambda *_: b"[0 0 0 0]")


def shrunk_byte_range(pdf: bytes, _: KeyRing) -> bytes:
    return _with_byte_range(pdf, lambda a, b, c: b"[0 %d %d %d]" % (a, b, c - 40))


def shifted_byte_range(pdf: bytes, _: KeyRing) -> bytes:
    return _with_byte_range(pdf, lambda a, b, c: b"[0 %d %d %d]" % (a - 1, b - 1, c + 1))


def wider_gap(pdf: bytes, _: KeyRing) -> bytes:
    return _with_byte_range(pdf, lambda a, b, c: b"[0 %d %d %d]" % (a - 100, b, c))


def negative_byte_range(pdf: bytes, _: KeyRing) -> bytes:
    return _with_byte_range(pdf, lambda a, b, c: b"[-1 %d %d %d]" % (a + 1, b, c))


def extra_byte_range_parts(pdf: bytes, _: KeyRing) -> bytes:
    return _with_byte_range(pdf, lambda a, b, c: b"[0 %d %d %d %d 0]" % (a, b, c, b + c))


def same_range_spelt_otherwise(pdf: bytes, _: KeyRing) -> bytes:
    return _with_byte_range(pdf, lambda a, b, c: b"[0 0%d %d %d]" % (a, b, c))


# Spellings of the container that mean the same to a signature check.


def lower_case_contents(pdf: bytes, _: KeyRing) -> bytes:
    start, end = _contents(pdf)
    return pdf[:start] + pdf[start:end].lower() + pdf[end:]


def filled_padding(pdf: bytes, _: KeyRing) -> bytes:
    _, end = _contents(pdf)
    return pdf[: end - 2] + b"7" + pdf[end - 1 :]


def mirrored_signature(pdf: bytes, keyring: KeyRing) -> bytes:
    """ECDSA takes (r, -s) where it takes (r, s): another file under a signature that is just as valid."""
    start, end = _contents(pdf)
    frame = next(
        frame
        for frame in cms.frames(keyring.seal_certificate)
        if pdf[start + 1 :].startswith(frame.before[:8].hex().upper().encode())
    )
    container = bytes.fromhex(pdf[start + 1 : end - 1].decode())[: frame.length]
    r, s = decode_dss_signature(container[frame.signature.start :])
    mirrored = encode_dss_signature(r, cms.P256_ORDER - s)
    digest = container[frame.digest.start : frame.digest.end]
    other = cms.frame(keyring.seal_certificate, len(mirrored)).filled(digest, mirrored)
    return pdf[: start + 1] + other.hex().upper().encode().ljust(end - start - 2, b"0") + pdf[end - 1 :]


# Incremental saving: something behind the sealed bytes.


def trailing_byte(pdf: bytes, _: KeyRing) -> bytes:
    return pdf + b"\n"


def trailing_junk(pdf: bytes, _: KeyRing) -> bytes:
    return pdf + b"%" + b"x" * 300


def leading_byte(pdf: bytes, _: KeyRing) -> bytes:
    return b"\n" + pdf


def truncated(pdf: bytes, _: KeyRing) -> bytes:
    return pdf[:-1]


def _updated(pdf: bytes, change: Callable[[Any], None]) -> bytes:
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    change(writer)
    output = BytesIO()
    writer.write(output)
    return output.getvalue()


def _replace_page_content(writer: Any) -> None:
    page = writer.find_page_for_modification(0)[0].get_object()
    page["/Contents"] = writer.add_object(generic.StreamObject(stream_data=b"BT ET"))
    writer.update_container(page)


def appended_update(pdf: bytes, _: KeyRing) -> bytes:
    return _updated(pdf, _replace_page_content)


def appended_update_without_cross_references(pdf: bytes, _: KeyRing) -> bytes:
    return (
        pdf
        + b"6 0 obj\n<</Length 5>>\nstream\nBT ET\nendstream\nendobj\ntrailer\n<< >>\nstartxref\n0\n%%EOF\n"
    )


def _last_startxref(pdf: bytes) -> int:
    return int(pdf.rsplit(b"startxref\n", 1)[1].split(b"\n")[0])


def _base_startxref() -> int:
    return _last_startxref(plain_pdf())


def replaced_cross_references(pdf: bytes, _: KeyRing) -> bytes:
    """A second pointer at the end leads readers to the unsealed revision, seal gone."""
    return pdf + b"startxref\n%d\n%%%%EOF\n" % _base_startxref()


def redirected_startxref(pdf: bytes, _: KeyRing) -> bytes:
    last = b"%d" % _last_startxref(pdf)
    head, _, tail = pdf.rpartition(last)
    return head + (b"%d" % _base_startxref()).rjust(len(last), b"0") + tail


def hybrid_cross_references(pdf: bytes, _: KeyRing) -> bytes:
    """A classic table that points to a stream as well: two readers see two documents."""
    table = len(pdf)
    root = re.search(rb"/Root (\d+ 0 R)", pdf)
    assert root is not None
    numbers = (root.group(1), _last_startxref(pdf), _base_startxref(), table)
    trailer = b"<< /Size 99 /Root %s /Prev %d /XRefStm %d >>\nstartxref\n%d\n%%%%EOF\n" % numbers
    return pdf + b"xref\n0 1\n0000000000 65535 f \ntrailer\n" + trailer


# Signature wrapping: the second signed stretch moved away, new objects put in between.


def wrapped_signature(pdf: bytes, _: KeyRing) -> bytes:
    start, end = _contents(pdf)
    pointer = _last_startxref(pdf)
    head, tail = pdf[:end], pdf[end:]
    # Up to the cross-references the signature dictionary reads on as before, with another range.
    kept = pdf[end:pointer]
    new_object = b"6 0 obj\n<</Length 5>>\nstream\nBT ET\nendstream\nendobj\n"
    cross_references = pdf[pointer : pdf.rindex(b"startxref")] + new_object
    moved = end + len(kept) + len(cross_references)
    room = len(re.search(rb"\[0 [0-9 ]*\] *", kept).group())  # type: ignore[union-attr]
    other_range = b"[0 %d %d %d]" % (start, moved, len(tail))
    kept = re.sub(rb"\[0 [0-9 ]*\] *", other_range.ljust(room), kept, count=1)
    return head + kept + cross_references + tail


def transplanted_container(pdf: bytes, keyring: KeyRing) -> bytes:
    """The genuine container of another sealed file."""
    other = seal_anything(plain_pdf(), keyring.seal_key, keyring.seal_certificate, AT.replace(second=59))
    start, end = _contents(pdf)
    other_start, other_end = _contents(other)
    return pdf[:start] + other[other_start:other_end] + pdf[end:]


def removed_seal(_: bytes, __: KeyRing) -> bytes:
    return plain_pdf()


# Certification attacks: overlays behind the seal.


def _add_annotation(writer: Any) -> None:
    page_ref = writer.find_page_for_modification(0)[0]
    note = generic.DictionaryObject(
        {
            pdf_name("/Type"): pdf_name("/Annot"),
            pdf_name("/Subtype"): pdf_name("/FreeText"),
            pdf_name("/Rect"): generic.ArrayObject(map(generic.NumberObject, (0, 0, 400, 500))),
            pdf_name("/Contents"): pdf_string("X 99.999 mm"),
            pdf_name("/DA"): pdf_string("/Helv 12 Tf"),
        }
    )
    writer.register_annotation(page_ref, writer.add_object(note))


def annotation_overlay(pdf: bytes, _: KeyRing) -> bytes:
    return _updated(pdf, _add_annotation)


def second_signature_overlay(pdf: bytes, _: KeyRing) -> bytes:
    """A further signature by anybody, with a picture over the page;
    the library's own refusal is passed by.
    """
    key = ec.derive_private_key(31337, ec.SECP256R1())
    certificate = seal_certificate(key, "Anybody", AT, 5)
    spec = SigFieldSpec("Overlay", box=(0, 0, 300, 300))
    steps = PdfCMSEmbedder(new_field_spec=spec).write_cms("Overlay", IncrementalPdfFileWriter(BytesIO(pdf)))
    next(steps)
    looks = SigAppearanceSetup(TextStampStyle(stamp_text="X 99.999 mm"), AT, "Anybody")
    room = 2 * cms.largest_length(certificate)
    placeholder = SignatureObject(timestamp=AT, subfilter=SigSeedSubFilter.PADES, bytes_reserved=room)
    steps.send(SigObjSetup(sig_placeholder=placeholder, appearance_setup=looks))
    digest, output = steps.send(SigIOSetup(md_algorithm="sha256"))
    steps.send(container_for(digest.document_digest, key, certificate))
    return bytes(output.getvalue())


# Shadow attacks: the file is prepared before it is sealed.
# The sealer refuses it; were it sealed, this is what follows.


def _shadowed(keyring: KeyRing, prepare: Callable[[Any], None]) -> bytes:
    return seal_anything(_updated(plain_pdf(), prepare), keyring.seal_key, keyring.seal_certificate)


def _add_layer(writer: Any) -> None:
    group = generic.DictionaryObject(
        {pdf_name("/Type"): pdf_name("/OCG"), pdf_name("/Name"): pdf_string("Other numbers")}
    )
    reference = writer.add_object(group)
    writer.root["/OCProperties"] = generic.DictionaryObject(
        {
            pdf_name("/OCGs"): generic.ArrayObject([reference]),
            pdf_name("/D"): generic.DictionaryObject({pdf_name("/OFF"): generic.ArrayObject([reference])}),
        }
    )
    writer.update_root()


def hidden_layer(_: bytes, keyring: KeyRing) -> bytes:
    return _shadowed(keyring, _add_layer)


def hidden_layer_shown_later(pdf: bytes, keyring: KeyRing) -> bytes:
    def show(writer: Any) -> None:
        writer.root["/OCProperties"]["/D"]["/OFF"] = generic.ArrayObject()
        writer.update_root()

    return _updated(hidden_layer(pdf, keyring), show)


def _add_text_field(writer: Any) -> None:
    page_ref = writer.find_page_for_modification(0)[0]
    field = generic.DictionaryObject(
        {
            pdf_name("/Type"): pdf_name("/Annot"),
            pdf_name("/Subtype"): pdf_name("/Widget"),
            pdf_name("/FT"): pdf_name("/Tx"),
            pdf_name("/T"): pdf_string("X"),
            pdf_name("/V"): pdf_string("12.345"),
            pdf_name("/Rect"): generic.ArrayObject(map(generic.NumberObject, (0, 0, 100, 20))),
        }
    )
    reference = writer.add_object(field)
    writer.register_annotation(page_ref, reference)
    writer.root["/AcroForm"] = generic.DictionaryObject(
        {pdf_name("/Fields"): generic.ArrayObject([reference])}
    )
    writer.update_root()


def field_in_the_sealed_file(_: bytes, keyring: KeyRing) -> bytes:
    return _shadowed(keyring, _add_text_field)


def field_value_swapped_later(pdf: bytes, keyring: KeyRing) -> bytes:
    def swap(writer: Any) -> None:
        field = writer.root["/AcroForm"]["/Fields"][0]
        field["/V"] = pdf_string("99.999")
        writer.update_container(field)

    return _updated(field_in_the_sealed_file(pdf, keyring), swap)


def object_used_again(_: bytes, keyring: KeyRing) -> bytes:
    """An object number given twice before the seal: two contents to choose from later."""

    def write_again(writer: Any) -> None:
        reference = writer.find_page_for_modification(0)[0].get_object().raw_get("/Contents")
        stream = reference.get_object()
        stream._data = b"BT ET"
        stream._encoded_data = None
        writer.mark_update(reference)

    return _shadowed(keyring, write_again)


def script_in_the_sealed_file(_: bytes, keyring: KeyRing) -> bytes:
    def add(writer: Any) -> None:
        action = {pdf_name("/S"): pdf_name("/JavaScript"), pdf_name("/JS"): pdf_string("app.alert(1)")}
        writer.root["/OpenAction"] = generic.DictionaryObject(action)
        writer.update_root()

    return _shadowed(keyring, add)


# Other keys.


def foreign_seal(_: bytes, __: KeyRing) -> bytes:
    """A perfect seal with the shop's name on it, by a key that is not the shop's."""
    key = ec.derive_private_key(31337, ec.SECP256R1())
    return seal_anything(plain_pdf(), key, _foreign_certificate())


def own_signature_under_the_shops_certificate(pdf: bytes, keyring: KeyRing) -> bytes:
    """The shop's certificate copied, the signature made with another key."""
    start, end = _contents(pdf)
    digest = bytes(32)
    key = ec.derive_private_key(31337, ec.SECP256R1())
    container = container_for(digest, key, keyring.seal_certificate).hex().upper().encode()
    return pdf[: start + 1] + container.ljust(end - start - 2, b"0") + pdf[end - 1 :]


def _foreign_certificate() -> x509.Certificate:
    return seal_certificate(ec.derive_private_key(31337, ec.SECP256R1()), SHOP, AT, 5)
