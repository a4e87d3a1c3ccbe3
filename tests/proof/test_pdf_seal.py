"""The seal as it is made: its profile, its exact place, and what is never sealed or handed out."""

from dataclasses import replace
from datetime import datetime, timedelta
from hashlib import sha256
from io import BytesIO
from typing import Any

import pytest
from asn1crypto import cms as asn1_cms
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.signers.pdf_byterange import BuildProps
from pypdf import PdfWriter
from pypdf.generic import ArrayObject, DictionaryObject, NameObject, NumberObject

from tests.proof.made_up import numbered_keys
from tests.proof.pdfs import AT, AT_UTC, PAGES, REASON, SHOP, container_for, pdf_of, plain_pdf, seal_anything
from webapp.proof.errors import SealError
from webapp.proof.keys.key_ring import KeyRing, seal_certificate
from webapp.proof.keys.seal_term import seal_term
from webapp.proof.pdf import cms
from webapp.proof.pdf.cms import largest_length
from webapp.proof.pdf.pdf_judge import judge
from webapp.proof.pdf.pdf_seal import seal
from webapp.proof.pdf.pdf_update import SealWords, prepare
from webapp.proof.pdf.pdf_verify import verify_seal
from webapp.words import say


def embedded(pdf: bytes) -> Any:
    (signature,) = PdfFileReader(BytesIO(pdf), strict=True).embedded_signatures
    return signature


def container_of(pdf: bytes) -> tuple[bytes, asn1_cms.SignedData]:
    padded = bytes(embedded(pdf).pkcs7_content)
    info = asn1_cms.ContentInfo.load(padded)
    return info.dump(), info["content"]


def test_the_unsealed_bytes_are_an_exact_beginning_of_the_sealed_file(sealed: bytes) -> None:
    assert sealed.startswith(plain_pdf())
    assert len(sealed) > len(plain_pdf())


def test_the_same_record_key_and_time_give_the_same_file(keyring: KeyRing, sealed: bytes) -> None:
    assert seal(plain_pdf(), keyring, AT_UTC, SHOP, REASON) == sealed


def test_the_profile_is_pades_b_b(sealed: bytes, keyring: KeyRing) -> None:
    signature = embedded(sealed)
    assert signature.sig_object["/SubFilter"] == "/ETSI.CAdES.detached"
    assert signature.sig_object["/M"] == "D:20261125080312Z"
    assert (signature.sig_object["/Name"], signature.sig_object["/Reason"]) == (SHOP, REASON)
    _, signed_data = container_of(sealed)
    (signer,) = signed_data["signer_infos"]
    attributes = {attribute["type"].native: attribute["values"] for attribute in signer["signed_attrs"]}
    assert set(attributes) == {
        *("content_type", "message_digest", "signing_certificate_v2", "cms_algorithm_protection")
    }
    der = keyring.seal_certificate.public_bytes(Encoding.DER)
    assert attributes["signing_certificate_v2"][0]["certs"][0]["cert_hash"].native == sha256(der).digest()
    assert signer["digest_algorithm"]["algorithm"].native == "sha256"
    assert signer["signature_algorithm"]["algorithm"].native == "sha256_ecdsa"
    assert [choice.chosen.dump() for choice in signed_data["certificates"]] == [der]
    assert not signer["unsigned_attrs"]


def test_the_container_is_der_and_fills_its_room_but_for_a_few_zeros(sealed: bytes, keyring: KeyRing) -> None:
    padded = bytes(embedded(sealed).pkcs7_content)
    container, _ = container_of(sealed)
    assert asn1_cms.ContentInfo.load(container).copy().dump(force=True) == container
    assert len(padded) == cms.largest_length(keyring.seal_certificate)
    assert padded == container.ljust(len(padded), b"\x00")
    assert len(padded) - len(container) <= 8


def test_it_certifies_with_no_changes_and_leaves_the_metadata_alone(sealed: bytes) -> None:
    reader = PdfFileReader(BytesIO(sealed), strict=True)
    before = PdfFileReader(BytesIO(plain_pdf()), strict=True)
    assert embedded(sealed).docmdp_level.value == 1
    assert reader.root["/Perms"]["/DocMDP"] == embedded(sealed).sig_object
    assert reader.trailer.raw_get("/Info") == before.trailer.raw_get("/Info")
    assert reader.root["/Metadata"].data == before.root["/Metadata"].data
    assert reader.trailer["/ID"][0] == before.trailer["/ID"][0]
    assert reader.trailer["/ID"][1] != before.trailer["/ID"][1]


def test_the_one_widget_shows_nothing_and_has_words_for_a_screen_reader(sealed: bytes) -> None:
    kids = PdfFileReader(BytesIO(sealed), strict=True).root["/Pages"]["/Kids"]
    assert ["/Annots" in kids[place] for place in range(len(kids))] == [True, False]
    assert len(kids[0]["/Annots"]) == 1
    widget = kids[0]["/Annots"][0]
    assert list(widget["/Rect"]) == [-9999, -9999, -9999, -9999]
    assert kids[0]["/Tabs"] == "/S"
    assert widget["/TU"] == "Seal of the record"


def test_a_good_file_holds_in_every_line(sealed: bytes, keyring: KeyRing) -> None:
    report = verify_seal(sealed, keyring.trusted_certificates)
    assert report.failures == ()
    assert report.holds
    assert [line["code"] for line in report.as_dict()["lines"]] == [
        *(
            "seal.place",
            "seal.coverage",
            "seal.container",
            "seal.certificate",
            "seal.signature",
            "seal.digest",
        ),
        *("seal.update", "seal.words", "seal.judge", "seal.content"),
    ]
    assert report.as_text().startswith(
        "Everything that was checked holds.\n= holds          Is there one seal, "
    )


@pytest.mark.parametrize("variant", ["pdf/a-3u", "pdf/a-3a", "pdf/ua-1", "pdf/a-1b"])
def test_every_kind_of_pdf_that_the_renderer_writes_can_be_sealed(keyring: KeyRing, variant: str) -> None:
    files = {} if variant == "pdf/a-1b" else {"a.json": b"{}"}
    pdf = pdf_of(PAGES, files, variant)
    assert verify_seal(seal(pdf, keyring, AT_UTC, SHOP, REASON), keyring.trusted_certificates).holds


@pytest.mark.parametrize("number", range(12))
def test_any_identifier_of_the_file_is_kept_in_its_first_half(keyring: KeyRing, number: int) -> None:
    identifier = sha256(b"%d" % number).digest()[:16]
    sealed = seal(pdf_of(PAGES, {}, identifier=identifier), keyring, AT_UTC, SHOP, REASON)
    assert verify_seal(sealed, keyring.trusted_certificates).holds
    assert identifier.hex().encode() in sealed[-700:]


@pytest.mark.parametrize(
    "words",
    ["(paren) \\ back", "Schlüssel & Söhne", "Цех № 7", "車間", "a" * 500, "\U0001f527" * 500, "line\nbreak"],
)
def test_any_name_and_reason_come_back_as_given(keyring: KeyRing, words: str) -> None:
    pdf = seal(plain_pdf(), keyring, AT_UTC, words, words)
    report = verify_seal(pdf, keyring.trusted_certificates)
    assert report.holds
    fields = report.line("seal.words").fields
    assert (fields["name"], fields["reason"]) == (words, words)


def test_many_records_all_verify_whatever_the_length_of_the_signature(keyring: KeyRing) -> None:
    lengths = set()
    for number in range(20):
        pdf = seal(plain_pdf(), keyring, AT_UTC, SHOP, f"Record {number}")
        lengths.add(len(container_of(pdf)[0]))
    assert len(lengths) > 1


@pytest.mark.parametrize("words", ["", "a" * 501])
def test_a_name_or_reason_that_is_missing_or_endless_is_refused(keyring: KeyRing, words: str) -> None:
    for name, reason in ((words, REASON), (SHOP, words)):
        with pytest.raises(SealError, match="1 to 500"):
            seal(plain_pdf(), keyring, AT_UTC, name, reason)


def test_a_file_that_is_no_pdf_is_not_sealed(keyring: KeyRing) -> None:
    with pytest.raises(SealError) as refused:
        seal(b"%PDF-1.7 nothing else", keyring, AT_UTC, SHOP, REASON)
    assert refused.value.code == "seal.unfit"
    assert "unreadable" in str(refused.value)


def test_a_sealed_file_is_not_sealed_again(keyring: KeyRing, sealed: bytes) -> None:
    with pytest.raises(SealError) as refused:
        seal(sealed, keyring, AT_UTC, SHOP, REASON)
    assert refused.value.fields["found"] == "annotation, form"


def test_a_page_with_a_link_is_not_sealed(keyring: KeyRing) -> None:
    pdf = pdf_of("<a href='https://example.org/'>out</a>", {})
    with pytest.raises(SealError, match="action, annotation"):
        seal(pdf, keyring, AT_UTC, SHOP, REASON)


@pytest.mark.parametrize(
    "at_utc", ["2026-11-25", "2026-11-25T08:03:12", "2026-11-25T08:03:12+01:00", "yesterday"]
)
def test_a_time_that_is_not_utc_is_refused(keyring: KeyRing, at_utc: str) -> None:
    with pytest.raises(SealError, match="must be in UTC"):
        seal(plain_pdf(), keyring, at_utc, SHOP, REASON)


def test_a_seal_that_does_not_verify_is_never_handed_out(keyring: KeyRing) -> None:
    wrong_key = replace(keyring, seal_key=numbered_keys(6001)())
    with pytest.raises(SealError) as refused:
        seal(plain_pdf(), wrong_key, AT_UTC, SHOP, REASON)
    assert refused.value.code == "seal.did_not_verify"
    assert "seal.signature" in str(refused.value.fields["lines"])


def test_nothing_is_sealed_before_or_after_the_certificates_time(keyring: KeyRing) -> None:
    for at_utc, code, day in (
        ("2026-11-25T08:03:11.999Z", "seal.not_yet", "2026-11-25"),
        ("2036-11-22T08:03:13.000Z", "seal.ended", "2036-11-22"),
    ):
        with pytest.raises(SealError) as refused:
            seal(plain_pdf(), keyring, at_utc, SHOP, REASON)
        assert (refused.value.code, refused.value.fields) == (code, {"day": day})
    assert "renew-seal" in str(refused.value)
    assert seal(plain_pdf(), keyring, "2036-11-22T08:03:12.999Z", SHOP, REASON)


def test_a_seal_that_was_made_outside_the_certificates_time_does_not_hold(keyring: KeyRing) -> None:
    late = AT.replace(year=2037)
    report = verify_seal(
        seal_anything(plain_pdf(), keyring.seal_key, keyring.seal_certificate, late),
        keyring.trusted_certificates,
    )
    assert report.line("seal.words").says == "seal.words.outside_certificate"


@pytest.mark.parametrize(
    ("days_left", "seconds", "code"),
    [
        (60, 1, None),
        (60, 0, "seal.ends_soon"),
        (0, 0, "seal.ends_soon"),
        (0, -1, "seal.ended"),
        (3650, 1, "seal.not_yet"),
    ],
)
def test_the_end_of_the_certificate_is_told_from_sixty_days_before(
    keyring: KeyRing, days_left: int, seconds: int, code: str | None
) -> None:
    end = keyring.seal_certificate.not_valid_after_utc
    term = seal_term(keyring.seal_certificate, end - timedelta(days=days_left, seconds=seconds))
    assert (term.code if term else None) == code
    if term:
        assert say(term.code, term.fields)
        assert term.seals == (code == "seal.ends_soon")


def test_an_old_record_verifies_after_a_change_of_the_seal_key(
    keyring: KeyRing, sealed: bytes, now: datetime
) -> None:
    key = numbered_keys(6001)()
    later = keyring.with_new_seal_key(key, seal_certificate(key, SHOP, now, 99))
    assert verify_seal(sealed, later.trusted_certificates).holds
    assert verify_seal(seal(plain_pdf(), later, AT_UTC, SHOP, REASON), later.trusted_certificates).holds


def test_a_seal_made_in_the_certificates_time_holds_after_it(keyring: KeyRing) -> None:
    """Its certificate ended in 2019, by any clock on which this is read: a record outlives its seal."""
    key, made = numbered_keys(6001)(), AT.replace(year=2009)
    before = keyring.with_new_seal_key(key, seal_certificate(key, SHOP, made, 99))
    assert before.seal_certificate.not_valid_after_utc < AT.replace(year=2020)
    pdf = seal(plain_pdf(), before, "2010-11-25T08:03:12.000Z", SHOP, REASON)
    assert verify_seal(pdf, before.trusted_certificates).failures == ()


def test_a_seal_written_by_another_version_holds_by_its_signature_and_is_told(keyring: KeyRing) -> None:
    other = BuildProps(name="zerokeep", revision="1 with pyHanko 0.99.0")
    pdf = seal_anything(plain_pdf(), keyring.seal_key, keyring.seal_certificate, made_by=other)
    report = verify_seal(pdf, keyring.trusted_certificates)
    assert report.holds
    assert report.line("seal.update").says == "seal.update.other_version"
    assert report.line("seal.update").fields == {"writer": "1 with pyHanko 0.99.0"}
    place = pdf.index(b"/TransformMethod")
    altered = verify_seal(pdf[:place] + b"#" + pdf[place + 1 :], keyring.trusted_certificates)
    assert not altered.line("seal.digest").holds
    assert not altered.line("seal.update").holds


def test_an_update_of_another_make_is_found_even_under_a_good_signature(keyring: KeyRing) -> None:
    prepared = prepare(plain_pdf(), SealWords(AT, SHOP, REASON), largest_length(keyring.seal_certificate))
    data = prepared.data.replace(b"/F 132", b"/F 130")
    digest = sha256(data[: prepared.contents_start] + data[prepared.contents_end :]).digest()
    container = container_for(digest, keyring.seal_key, keyring.seal_certificate)
    pdf = replace(prepared, data=data).with_container(container)
    report = verify_seal(pdf, keyring.trusted_certificates)
    assert report.line("seal.digest").holds
    assert report.failures[0].says == "seal.update.altered"
    assert report.failures[0].fields["offset"] == data.index(b"/F 130") + 5


def test_where_the_seal_s_words_stand_is_told_to_the_byte(sealed: bytes, keyring: KeyRing) -> None:
    line = verify_seal(sealed, keyring.trusted_certificates).line("seal.words")
    first, last = line.fields["first"], line.fields["last"]
    assert isinstance(first, int)
    assert isinstance(last, int)
    stands = sealed[first : last + 1]
    assert stands.startswith(b"/M (D")
    assert stands.endswith(b")\n")
    assert stands.count(b"/Name (") == stands.count(b"/Reason (") == 1


def test_a_container_that_was_altered_is_told_with_its_size_in_bytes(sealed: bytes, keyring: KeyRing) -> None:
    start = sealed.index(b"/Contents <") + len(b"/Contents <")
    altered = sealed[:start] + b"0000" + sealed[start + 4 :]
    line = verify_seal(altered, keyring.trusted_certificates).line("seal.container")
    size = largest_length(keyring.seal_certificate)
    assert (line.holds, line.fields["expected_bytes"], line.fields["bytes"]) == (False, size, size)


def test_without_a_seal_no_update_of_another_version_is_taken_to_hold(keyring: KeyRing) -> None:
    """Another version's update is believed where the seal's digest fits; here there is no seal to say so."""
    other = BuildProps(name="zerokeep", revision="1 with pyHanko 0.99.0")
    pdf = seal_anything(plain_pdf(), keyring.seal_key, keyring.seal_certificate, made_by=other)
    assert verify_seal(pdf, keyring.trusted_certificates).line("seal.update").holds
    broken = pdf.replace(b"/Contents <", b"/Contents  <")
    report = verify_seal(broken, keyring.trusted_certificates)
    assert not report.line("seal.place").holds
    assert not report.line("seal.update").holds


def test_the_second_judge_takes_no_file_that_only_a_lenient_reader_would_open(
    sealed: bytes, keyring: KeyRing
) -> None:
    assert judge(sealed, keyring.trusted_certificates, AT) == []
    sloppy = sealed.replace(b"endobj", b"endobk")
    assert judge(sloppy, keyring.trusted_certificates, AT) == ["PdfStrictReadError"]


def test_every_byte_of_a_container_belongs_to_a_part_and_what_follows_is_padding(keyring: KeyRing) -> None:
    frame = cms.frame(keyring.seal_certificate, 70)
    assert frame.name_of(0) == "frame"
    assert frame.name_of(frame.length - 1) == frame.signature.name
    assert frame.name_of(frame.length) == "padding"


def test_no_trusted_certificate_means_no_answer_and_never_the_systems(sealed: bytes) -> None:
    with pytest.raises(ValueError, match="never used"):
        verify_seal(sealed, ())


@pytest.mark.parametrize(
    ("added", "named"),
    [
        ({"/OpenAction": {"/S": "/JavaScript"}}, "action, action at opening"),
        ({"/Annots": [{"/Type": "/Annot", "/Rect": [0, 0, 9, 9]}]}, "annotation"),
        # Of the two pages the seal's own field is on the first; listed on the second, this is one too many.
        ({"/Annots": [{"/Contents": "/OfNoKind"}]}, "annotation"),
    ],
)
def test_what_no_record_holds_is_named_and_not_sealed(
    keyring: KeyRing, added: dict[str, Any], named: str
) -> None:
    with pytest.raises(SealError) as refused:
        seal(plain_pdf_with(added), keyring, AT_UTC, SHOP, REASON)
    assert refused.value.code == "seal.unfit"
    assert refused.value.fields["found"] == named


def plain_pdf_with(added: dict[str, Any]) -> bytes:
    """Two pages in one revision, the last of which has something more."""
    writer, output = PdfWriter(clone_from=BytesIO(plain_pdf())), BytesIO()
    writer.pages[1].update({NameObject(name): as_object(value) for name, value in added.items()})
    writer.write(output)
    return output.getvalue()


def as_object(value: Any) -> Any:
    if isinstance(value, dict):
        return DictionaryObject({NameObject(name): as_object(one) for name, one in value.items()})
    if isinstance(value, list):
        return ArrayObject([as_object(one) for one in value])
    return NameObject(value) if isinstance(value, str) else NumberObject(value)
