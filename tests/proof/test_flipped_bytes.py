"""One altered byte anywhere in a sealed record: it never holds, and the report says where.

Every third byte of the signature container is tried (all of them where more is asked for), and bytes
elsewhere at places drawn from a fixed seed.
"""

import random
from collections import Counter
from collections.abc import Iterator

import pytest

from tests.kit import more
from tests.proof.pdfs import AT_UTC, REASON, SHOP
from tests.proof.records import bundle, render
from webapp.proof.keys.key_ring import KeyRing
from webapp.proof.pdf.pdf_layout import base_length, find_seals, words_span
from webapp.proof.pdf.pdf_seal import seal
from webapp.proof.pdf.pdf_verify import verify_seal
from webapp.proof.report import Report
from webapp.proof.sealed_record.record_verify import verify_record

PLACES_IN_THE_RECORD = 400
PLACES_IN_THE_UPDATE = 200
CHANGES = (0x01, 0x20, 0x80, 0xFF)


@pytest.fixture(scope="module")
def record_pdf(keyring: KeyRing) -> bytes:
    return seal(render(bundle()), keyring, AT_UTC, SHOP, REASON)


def flipped(pdf: bytes, place: int, change: int) -> bytes:
    return pdf[:place] + bytes([pdf[place] ^ change]) + pdf[place + 1 :]


def offsets(report: Report) -> set[str | int]:
    return {line.fields["offset"] for line in report.failures if "offset" in line.fields}


def test_a_flip_anywhere_in_the_container_is_found_in_its_part(record_pdf: bytes, keyring: KeyRing) -> None:
    (own_seal,) = find_seals(record_pdf)
    parts: Counter[str] = Counter()
    places = range(own_seal.contents_start + 1, own_seal.contents_end - 1, 1 if more.ALL else 3)
    for place in places:
        report = verify_seal(flipped(record_pdf, place, CHANGES[place % 4]), keyring.trusted_certificates)
        assert not report.holds
        if report.line("seal.place").says == "seal.place.none":
            continue
        assert report.line("seal.update").holds
        if report.line("seal.container").holds:
            where = report.line("seal.signature").fields
            inside = where.get("first", where.get("offset", -1))
            assert abs(int(inside) - place) <= 1 or int(inside) <= place <= int(where["last"])
            parts["repaired" if "offset" in where else "signature value"] += 1
        else:
            assert report.line("seal.container").fields["offset"] == place
            parts[str(report.line("seal.container").fields["part"])] += 1
    assert parts.keys() >= {"frame", "certificate", "signed attributes", "signature value", "repaired"}
    assert sum(parts.values()) > 0.95 * len(places)


def drawn(first: int, behind: int, count: int, seed: int) -> Iterator[tuple[int, int]]:
    chance = random.Random(seed)
    return ((place, chance.choice(CHANGES)) for place in sorted(chance.sample(range(first, behind), count)))


def test_a_flip_in_the_record_is_found_and_nothing_of_the_file_is_opened(
    record_pdf: bytes, keyring: KeyRing
) -> None:
    for place, change in drawn(0, base_length(record_pdf), PLACES_IN_THE_RECORD, seed=20261125):
        altered = flipped(record_pdf, place, change)
        report = verify_record(altered, keyring.trusted_certificates, render, known_sha256="00" * 32)
        assert not report.line("seal.digest").holds
        assert not report.line("file.known").holds
        assert report.line("seal.certificate").holds
        assert report.line("record.files").says == "record.files.not_asked"


def test_a_flip_in_what_the_seal_added_is_found_at_its_place(record_pdf: bytes, keyring: KeyRing) -> None:
    (own_seal,) = find_seals(record_pdf)
    words = words_span(record_pdf)
    assert words is not None
    start = base_length(record_pdf)
    for place, change in drawn(start, len(record_pdf), PLACES_IN_THE_UPDATE, seed=20261126):
        if own_seal.contents_start < place < own_seal.contents_end - 1:
            continue
        report = verify_seal(flipped(record_pdf, place, change), keyring.trusted_certificates)
        assert not report.holds
        if not words[0] <= place < words[1]:
            assert place in offsets(report) or report.line("seal.update").says == "seal.update.unreadable"
        else:
            assert not report.line("seal.digest").holds
