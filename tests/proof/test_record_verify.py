"""What the verifier says of a record: that it holds, or what of it does not, and where."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pypdf
import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256

from tests.proof import records
from tests.proof.made_up import numbered_keys
from tests.proof.pdfs import AT, AT_UTC, REASON, SHOP, seal_anything
from tests.proof.records import (
    SETUP,
    SIGNED_OFF,
    TABLET,
    Tablet,
    bundle,
    chain,
    changed,
    decision,
    in_ledger,
    render,
)
from webapp.domain.record.bundle import RecordBundle
from webapp.domain.record.edition import PAGES_EDITION
from webapp.proof.keys import jws
from webapp.proof.keys.key_ring import KeyRing, seal_certificate
from webapp.proof.pdf import pdf_verify
from webapp.proof.pdf.pdf_layout import find_seals
from webapp.proof.pdf.pdf_seal import seal
from webapp.proof.report import NOT_ON_LEDGER, Report
from webapp.proof.sealed_record import record_verify
from webapp.proof.sealed_record.record_verify import verify_record

Sealer = Callable[[RecordBundle], bytes]


@pytest.fixture(scope="session")
def seal_it(keyring: KeyRing) -> Sealer:
    return lambda record: seal(render(record), keyring, AT_UTC, SHOP, REASON)


@pytest.fixture(scope="session")
def record_pdf(seal_it: Sealer) -> bytes:
    return seal_it(bundle())


def says(pdf: bytes, keyring: KeyRing, code: str, **options: Any) -> str:
    """What the one failing line says."""
    report = verify_record(pdf, keyring.trusted_certificates, options.pop("render", render), **options)
    assert not report.holds
    assert [line.code for line in report.failures if not line.says.endswith(".not_asked")] == [code]
    assert report.as_text()
    return report.line(code).says


def test_a_whole_record_holds_in_every_line(record_pdf: bytes, keyring: KeyRing) -> None:
    report = verify_record(record_pdf, keyring.trusted_certificates, render)
    assert report.failures == ()
    assert [line.code for line in report.lines][-11:] == [
        *("record.files", "record.events", "record.chain", "record.belongs", "record.signed"),
        *("record.reviewed", "record.head", "record.places", "record.time", "record.page", "record.tablets"),
    ]
    assert report.line("record.signed").fields == {"operator": "mara", "lead": "ines"}
    assert all(line["detail"] for line in report.as_dict()["lines"])


def test_the_files_hash_is_compared_with_the_ledgers_first(record_pdf: bytes, keyring: KeyRing) -> None:
    right = jws.sha256(record_pdf).hexdigest()
    report = verify_record(record_pdf, keyring.trusted_certificates, render, known_sha256=right)
    assert report.holds
    assert report.lines[0].code == "file.known"
    assert says(record_pdf, keyring, "file.known", known_sha256="00" * 32) == "file.known.differs"


def test_a_file_under_our_own_seal_that_is_not_on_the_ledger_does_not_hold(
    record_pdf: bytes, keyring: KeyRing
) -> None:
    assert says(record_pdf, keyring, "file.known", known_sha256=NOT_ON_LEDGER) == "file.known.not_on_ledger"


def test_a_valid_seal_of_somebody_else_is_not_ours(keyring: KeyRing) -> None:
    key = numbered_keys(6001)()
    foreign = seal_anything(render(bundle()), key, seal_certificate(key, SHOP, AT, 77))
    report = verify_record(foreign, keyring.trusted_certificates, render)
    assert [line.code for line in report.failures] == ["seal.certificate"]
    line = report.line("seal.certificate")
    assert line.says == "seal.certificate.not_ours"
    assert line.fields["name"] == f"CN={SHOP}"
    assert report.line("record.page").holds
    assert verify_record(foreign, (seal_certificate(key, SHOP, AT, 77),), render).holds


def test_a_record_sealed_before_a_key_was_renewed_is_not_called_altered(
    keyring: KeyRing, record_pdf: bytes
) -> None:
    key = numbered_keys(6002)()
    newer = seal_certificate(key, SHOP, AT, 78)
    report = verify_record(record_pdf, (newer,), render, known_sha256=NOT_ON_LEDGER)
    assert {line.code for line in report.failures} == {"file.known", "seal.certificate"}
    assert (
        report.line("seal.certificate").fields["sha256"]
        == keyring.seal_certificate.fingerprint(SHA256()).hex()
    )


def test_another_shops_record_that_was_altered_is_altered_under_its_own_certificate(
    keyring: KeyRing,
) -> None:
    key = numbered_keys(6001)()
    foreign = bytearray(seal_anything(render(bundle()), key, seal_certificate(key, SHOP, AT, 77)))
    foreign[2000] ^= 1
    report = verify_record(bytes(foreign), keyring.trusted_certificates, render)
    assert report.line("seal.certificate").says == "seal.certificate.not_ours"
    assert report.line("seal.signature").holds
    assert report.line("seal.digest").says == "seal.digest.differs"
    assert report.line("record.files").says == "record.files.not_asked"


def test_nothing_behind_a_container_cut_out_of_a_record_is_opened(
    keyring: KeyRing, record_pdf: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    (own,) = find_seals(record_pdf)
    other = seal_anything(
        records.pdf_of("<p>Another</p>", {"record.json": b"{}"}),
        numbered_keys(6001)(),
        keyring.seal_certificate,
    )
    (there,) = find_seals(other)
    container = record_pdf[own.contents_start : own.contents_end]
    glued = other[: there.contents_start] + container + other[there.contents_end :]

    def opened(*_: object) -> None:
        raise AssertionError("opened")

    monkeypatch.setattr(record_verify, "attachments", opened)
    monkeypatch.setattr(pypdf, "PdfReader", opened)
    for name in ("judge", "forbidden_features"):
        monkeypatch.setattr(pdf_verify, name, opened)
    report = verify_record(glued, keyring.trusted_certificates, render)
    assert report.line("seal.signature").holds
    assert report.line("seal.digest").says == "seal.digest.differs"
    assert report.line("record.files").says == "record.files.not_asked"


def test_a_strangers_file_that_unfolds_without_end_is_not_opened(keyring: KeyRing) -> None:
    key = numbered_keys(6001)()
    bomb = records.pdf_of("<p>Small</p>", {"record.json": bytes(257 * 1024 * 1024)})
    report = verify_record(
        seal_anything(bomb, key, seal_certificate(key, SHOP, AT, 77)), keyring.trusted_certificates, render
    )
    assert report.line("seal.judge").says == "seal.judge.too_large"
    assert report.line("record.files").says == "record.files.not_asked"


def test_without_a_ledger_the_tablets_keys_are_said_to_be_the_sealers_word(
    keyring: KeyRing, record_pdf: bytes
) -> None:
    report = verify_record(record_pdf, keyring.trusted_certificates, render)
    assert report.holds
    assert report.line("record.tablets").state == "not_looked_at"
    right = jws.sha256(record_pdf).hexdigest()
    asked = verify_record(record_pdf, keyring.trusted_certificates, render, known_sha256=right)
    assert "record.tablets" not in {line.code for line in asked.lines}


def test_pages_that_say_other_than_the_events_are_found_with_their_place(keyring: KeyRing) -> None:
    lie = bytearray(render(bundle()))
    lie[12] ^= 1
    pdf = seal(bytes(lie), keyring, AT_UTC, SHOP, REASON)
    report = verify_record(pdf, keyring.trusted_certificates, render)
    (failure,) = report.failures
    assert failure.says == "record.page.differs_other"
    assert failure.fields["offset"] == 12


def test_another_page_with_the_same_attachments_is_found(keyring: KeyRing, record_pdf: bytes) -> None:
    def other_page(record: RecordBundle) -> bytes:
        return records.pdf_of("<p>Something else</p>", record.files())

    lie = seal(other_page(bundle()), keyring, AT_UTC, SHOP, REASON)
    assert says(lie, keyring, "record.page") == "record.page.differs_page"
    assert says(record_pdf, keyring, "record.page", render=other_page) == "record.page.differs_page"


def test_where_another_version_rendered_text_is_compared_and_the_report_says_so(
    record_pdf: bytes, keyring: KeyRing
) -> None:
    def shifted(record: RecordBundle) -> bytes:
        return records.pdf_of(
            "<html lang='en'><head><title>Record</title><style>h1 { color: navy "
            "}</style></head><body><h1>Record</h1>"
            "<ol><li>setup.started</li><li>caution.read</li><li>touch.entered</li><li>hold.pressed</li>"
            "<li>setup.finished</li><li>setup.signed</li></ol></body></html>",
            record.files(),
        )

    newer = {"weasyprint": "71.0", "zerokeep": "0.1.0"}
    report = verify_record(record_pdf, keyring.trusted_certificates, shifted, renderer=newer)
    assert report.holds
    assert report.line("record.page").says == "record.page.same_text"
    same = {"renderer": records.RENDERER, "render": shifted}
    assert says(record_pdf, keyring, "record.page", **same).startswith("record.page.differs_")
    assert says(record_pdf, keyring, "record.page", render=shifted).startswith("record.page.differs_")


@pytest.mark.parametrize(
    ("html", "how"),
    [
        ("<p>Other words</p>", "record.page.other_text"),
        ("<p>One</p><p style='break-before: page'>Two</p>", "record.page.other_page_count"),
    ],
)
def test_where_another_version_rendered_other_text_or_pages_do_not_hold(
    record_pdf: bytes, keyring: KeyRing, html: str, how: str
) -> None:
    def other(record: RecordBundle) -> bytes:
        return records.pdf_of(html, record.files())

    options = {"render": other, "renderer": {"weasyprint": "71.0"}}
    assert says(record_pdf, keyring, "record.page", **options) == how


def stops(record: RecordBundle) -> bytes:
    raise RuntimeError(record)


def test_a_renderer_that_stops_means_that_the_record_does_not_hold(
    record_pdf: bytes, keyring: KeyRing
) -> None:
    assert says(record_pdf, keyring, "record.page", render=stops) == "record.page.not_rendered"


def test_a_sealed_pdf_without_the_records_files_does_not_hold(keyring: KeyRing) -> None:
    for html, files in (("<p>No record</p>", {}), ("<p>Half</p>", {"sheet.json": b"{}"})):
        pdf = seal(records.pdf_of(html, files), keyring, AT_UTC, SHOP, REASON)
        assert says(pdf, keyring, "record.files") == "record.files.refused"


def test_another_time_in_the_seal_than_in_the_record_is_told(keyring: KeyRing) -> None:
    pdf = seal(render(bundle()), keyring, "2026-11-25T08:03:13.000Z", SHOP, REASON)
    assert says(pdf, keyring, "record.time") == "record.time.differs"


def with_event(place: int, compact: str) -> RecordBundle:
    events = list(bundle().events)
    events[place] = compact
    return changed(events=tuple(events))


def test_an_event_with_a_changed_value_is_named(seal_it: Sealer, keyring: KeyRing) -> None:
    header, payload, signature = bundle().events[2].split(".")
    altered = jws.to_base64url(jws.from_base64url(payload).replace(b"12.345", b"12.346"))
    pdf = seal_it(with_event(2, f"{header}.{altered}.{signature}"))
    assert says(pdf, keyring, "record.events") == "record.events.refused"
    report = verify_record(pdf, keyring.trusted_certificates, render)
    assert report.line("record.events").fields["place"] == 3


def test_an_event_of_a_tablet_that_is_not_listed_is_named(seal_it: Sealer, keyring: KeyRing) -> None:
    stranger = Tablet(ec.derive_private_key(4, ec.SECP256R1()))
    event = stranger.event("hold.pressed", {}, 4, jws.event_id(bundle().events[2]))
    assert says(seal_it(with_event(3, event)), keyring, "record.events") == "record.events.unknown_device"


def test_an_event_that_speaks_for_another_device_is_named(seal_it: Sealer, keyring: KeyRing) -> None:
    event = TABLET.event("hold.pressed", {}, 4, jws.event_id(bundle().events[2]), device="A" * 43)
    assert says(seal_it(with_event(3, event)), keyring, "record.events") == "record.events.unknown_device"


def test_a_device_whose_id_is_not_the_fingerprint_of_its_key_is_refused(
    seal_it: Sealer, keyring: KeyRing
) -> None:
    listed = {**TABLET.listed(), "id": "A" * 43}
    assert says(seal_it(changed(devices=(listed,))), keyring, "record.events") == "record.events.refused"
    for broken in ({"id": TABLET.device, "name": "Tablet 1"}, {**TABLET.listed(), "jwk": "no key"}):
        assert says(seal_it(changed(devices=(broken,))), keyring, "record.events") == "record.events.refused"


def test_a_record_without_events_does_not_hold(seal_it: Sealer, keyring: KeyRing) -> None:
    assert says(seal_it(changed(events=())), keyring, "record.events") == "record.events.none"


def test_a_removed_event_shows_as_a_gap_that_is_counted(seal_it: Sealer, keyring: KeyRing) -> None:
    events = bundle().events
    report = verify_record(
        seal_it(changed(events=events[:3] + events[4:])), keyring.trusted_certificates, render
    )
    assert report.line("record.chain").says == "record.chain.holds_with_gaps"
    assert report.line("record.chain").fields == {"events": 1}


def test_an_event_that_does_not_name_the_one_before_breaks_the_chain(
    seal_it: Sealer, keyring: KeyRing
) -> None:
    event = TABLET.event("hold.pressed", {}, 4, "ab" * 32)
    assert says(seal_it(with_event(3, event)), keyring, "record.chain") == "record.chain.broken"


def forked(number: int, **changes: Any) -> tuple[str, RecordBundle]:
    """A record in which the tablet wrote a second event with this number."""
    events = list(bundle().events)
    before = jws.event_id(events[number - 2])
    other = TABLET.event(
        "worry.raised", {"worry": "other", "text": "From the copy."}, number, changes.pop("previous", before)
    )
    events.insert(number, other)
    return other, changed(events=tuple(events), **changes)


def test_a_fork_inside_a_record_is_named_with_its_events_and_the_rest_is_judged(
    seal_it: Sealer, keyring: KeyRing
) -> None:
    other, record = forked(4)
    report = verify_record(seal_it(record), keyring.trusted_certificates, render)
    assert report.holds
    line = report.line("record.chain")
    assert line.says == "record.chain.holds_with_fork"
    assert line.fields["forks"] == 1
    for event in (bundle().events[3], other):
        assert jws.event_id(event) in line.detail
    assert report.line("record.reviewed").fields == {"events": 7}


def test_the_chain_goes_on_from_either_side_of_a_fork(seal_it: Sealer, keyring: KeyRing) -> None:
    other, record = forked(4)
    events = list(record.events)
    events[5] = TABLET.event("setup.resumed", {"away_ms": 5}, 5, jws.event_id(other))
    pdf = seal_it(changed(events=tuple(events[:6])))
    chain_line = verify_record(pdf, keyring.trusted_certificates, render).line("record.chain")
    assert (chain_line.holds, chain_line.says) == (True, "record.chain.holds_with_fork")


def test_behind_a_fork_the_event_before_may_lie_in_another_setup_of_the_copy(
    seal_it: Sealer, keyring: KeyRing
) -> None:
    _, record = forked(4, previous="ab" * 32)
    chain_line = verify_record(seal_it(record), keyring.trusted_certificates, render).line("record.chain")
    assert (chain_line.holds, chain_line.says) == (True, "record.chain.holds_with_fork")


def test_before_a_fork_a_break_of_the_chain_is_still_a_break(seal_it: Sealer, keyring: KeyRing) -> None:
    _, record = forked(5)
    events = list(record.events)
    events[2] = TABLET.event("hold.pressed", {}, 3, "ab" * 32)
    assert says(seal_it(changed(events=tuple(events))), keyring, "record.chain") == "record.chain.broken"


def test_events_out_of_order_or_twice_break_the_chain(seal_it: Sealer, keyring: KeyRing) -> None:
    first, second, *rest = bundle().events
    for events in ((second, first, *rest), (first, second, second, *rest)):
        assert says(seal_it(changed(events=events)), keyring, "record.chain") == "record.chain.out_of_order"


def test_a_setup_may_start_in_the_middle_of_a_devices_chain(seal_it: Sealer, keyring: KeyRing) -> None:
    events = chain(first=40, previous="ab" * 32)
    verified = records.verified_for(jws.event_id(events[-1]))
    pdf = seal_it(changed(events=tuple(events), decisions=(verified, SIGNED_OFF)))
    assert verify_record(pdf, keyring.trusted_certificates, render).holds


def test_an_event_of_another_setup_or_sheet_is_told(seal_it: Sealer, keyring: KeyRing) -> None:
    last = bundle().events[3]
    other_setup = TABLET.event(
        "hold.pressed", {}, 4, jws.event_id(bundle().events[2]), setup=records.OTHER_SETUP
    )
    pdf = seal_it(changed(events=(*bundle().events[:3], other_setup, *chain()[4:])))
    report = verify_record(pdf, keyring.trusted_certificates, render)
    assert report.line("record.belongs").says == "record.belongs.other_setup"
    assert last != other_setup
    other_sheet = changed(sheet_text=records.SHEET.replace("mill-1", "mill-2"))
    assert says(seal_it(other_sheet), keyring, "record.belongs") == "record.belongs.other_sheet"


def test_a_decision_about_another_setup_or_without_its_fields_is_told(
    seal_it: Sealer, keyring: KeyRing
) -> None:
    whole = bundle().decisions
    other = decision("question.answered", {}, "ines", setup=records.OTHER_SETUP)
    assert says(seal_it(changed(decisions=(*whole, other))), keyring, "record.belongs").endswith(
        "other_decision"
    )
    for text in ("[]", '{"type":"setup.signed_off"}'):
        pdf = seal_it(changed(decisions=(*whole, text)))
        assert verify_record(pdf, keyring.trusted_certificates, render).line("record.belongs").says == (
            "record.belongs.decision_unreadable"
        )


def test_nothing_holds_without_a_verified_signature_of_the_operator(
    seal_it: Sealer, keyring: KeyRing
) -> None:
    last = jws.event_id(bundle().events[-1])
    for decisions in (
        (),
        (SIGNED_OFF,),
        (records.verified_for("ab" * 32), SIGNED_OFF),
        (records.verified_for(last, person="jonas"), SIGNED_OFF),
        (decision("signature.verified", [last], "server"), SIGNED_OFF),  # type: ignore[arg-type]
    ):
        pdf = seal_it(changed(decisions=decisions))
        assert says(pdf, keyring, "record.signed") == "record.signed.not_verified"


def test_nothing_holds_without_a_sign_off_after_it_that_still_stands(
    seal_it: Sealer, keyring: KeyRing
) -> None:
    verified = bundle().decisions[0]
    refused = decision("setup.not_accepted", {"reason": "again"}, "ines")
    for decisions in ((verified,), (SIGNED_OFF, verified), (verified, SIGNED_OFF, refused)):
        pdf = seal_it(changed(decisions=decisions))
        assert says(pdf, keyring, "record.signed") == "record.signed.not_signed_off"
    again = seal_it(changed(decisions=(verified, refused, SIGNED_OFF)))
    assert verify_record(again, keyring.trusted_certificates, render).holds


def test_a_lead_who_signs_off_their_own_setup_is_told(seal_it: Sealer, keyring: KeyRing) -> None:
    own = decision("setup.signed_off", {"meaning": "reviewed and accepted", "note": ""}, "mara")
    pdf = seal_it(changed(decisions=(bundle().decisions[0], own)))
    assert says(pdf, keyring, "record.signed") == "record.signed.own_work"


def bare(**changes: Any) -> RecordBundle:
    """The record with some of its files replaced and the sign-off left as it was."""
    return in_ledger(replace(bundle(), **changes))


def test_a_sign_off_that_does_not_say_what_was_read_does_not_hold(seal_it: Sealer, keyring: KeyRing) -> None:
    silent = decision("setup.signed_off", {"meaning": "reviewed and accepted", "note": ""}, "ines")
    for text in (silent, SIGNED_OFF, decision("setup.signed_off", ["read"], "ines")):  # type: ignore[arg-type]
        pdf = seal_it(bare(decisions=(bundle().decisions[0], text)))
        assert says(pdf, keyring, "record.reviewed") == "record.reviewed.not_said"


def test_an_event_taken_out_after_the_sign_off_is_seen_by_what_was_read(
    seal_it: Sealer, keyring: KeyRing
) -> None:
    events = bundle().events
    pdf = seal_it(bare(events=events[:3] + events[4:]))
    assert says(pdf, keyring, "record.reviewed") == "record.reviewed.differs"


def test_a_decision_put_in_before_the_sign_off_is_seen_by_what_was_read(
    seal_it: Sealer, keyring: KeyRing
) -> None:
    verified, sign_off = bundle().decisions
    answered = decision("question.answered", {"question": "q", "decision": "go_on", "reason": ""}, "ines")
    pdf = seal_it(bare(decisions=(verified, answered, sign_off)))
    assert says(pdf, keyring, "record.reviewed") == "record.reviewed.differs"


@pytest.mark.parametrize(
    "claim",
    [
        {"events": 6, "sha256": "00" * 32},
        {"events": 0, "sha256": "00" * 32},
        {"events": 7, "sha256": "00" * 32},
        {"events": True, "sha256": "00" * 32},
        {"sha256": "00" * 32},
        "all of it",
    ],
)
def test_a_claim_of_what_was_read_that_nothing_gives_does_not_hold(
    claim: Any, seal_it: Sealer, keyring: KeyRing
) -> None:
    pdf = seal_it(bare(decisions=(bundle().decisions[0], records.signed_off(claim))))
    assert says(pdf, keyring, "record.reviewed") == "record.reviewed.differs"


def test_events_that_came_after_the_sign_off_are_counted_and_told(seal_it: Sealer, keyring: KeyRing) -> None:
    late = TABLET.event("setup.resumed", {"away_ms": 5}, 7, jws.event_id(bundle().events[-1]))
    report = verify_record(
        seal_it(bare(events=(*bundle().events, late))), keyring.trusted_certificates, render
    )
    assert report.holds
    assert report.line("record.reviewed").says == "record.reviewed.holds_with_later"
    assert report.line("record.reviewed").fields == {"events": 6, "later": 1}


def test_bytes_that_are_nothing_at_all_give_a_report_and_no_error(keyring: KeyRing) -> None:
    for data in (b"", b"\x00" * 5000, b"%PDF-1.7\n%%EOF\n", b"%%EOF\n" * 3):
        report = verify_record(data, keyring.trusted_certificates, render)
        assert isinstance(report, Report)
        assert not report.holds
        assert report.line("seal.place").says == "seal.place.none"


def test_an_endless_file_is_not_looked_at(keyring: KeyRing) -> None:
    report = verify_record(b"%PDF" + bytes(64 * 1024 * 1024), keyring.trusted_certificates, render)
    assert report.line("seal.place").says == "seal.place.file_too_large"


def test_files_made_to_be_slow_to_search_give_a_report(record_pdf: bytes, keyring: KeyRing) -> None:
    (own,) = find_seals(record_pdf)
    endless_container = (
        record_pdf[: own.contents_start + 1] + b"0" * 4_000_000 + record_pdf[own.contents_end - 1 :]
    )
    for data in (endless_container, b"%%EOF\n" + b"/M (" * 1_000_000 + b")\n", b"/Contents <" * 1_000_000):
        assert not verify_record(data, keyring.trusted_certificates, render).holds


def test_a_report_knows_which_lines_it_has(record_pdf: bytes, keyring: KeyRing) -> None:
    report = verify_record(record_pdf, keyring.trusted_certificates, render)
    with pytest.raises(KeyError):
        report.line("nobody.asked")
    assert replace(report, lines=()).holds
    assert SETUP in report.line("record.belongs").detail


@pytest.mark.parametrize(
    ("edition", "state", "how"),
    [
        (PAGES_EDITION, "holds", "holds"),
        (PAGES_EDITION + 1, "not_looked_at", "later_edition"),
        (0, "fails", "edition_unreadable"),
        ("1", "fails", "edition_unreadable"),
        (True, "fails", "edition_unreadable"),
    ],
)
def test_pages_of_another_edition_are_not_printed_again_and_fail_nothing(
    keyring: KeyRing, edition: Any, state: str, how: str
) -> None:
    named = replace(bundle(), record={**bundle().record, "edition": edition})
    pdf = seal(render(named), keyring, AT_UTC, SHOP, REASON)
    report = verify_record(pdf, keyring.trusted_certificates, render)
    assert (report.line("record.page").state, report.line("record.page").says) == (
        state,
        f"record.page.{how}",
    )
    assert report.holds == (state != "fails")


def test_pages_of_an_earlier_edition_are_said_to_be_so(
    keyring: KeyRing, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record_verify, "PAGES_EDITION", PAGES_EDITION + 1)
    report = verify_record(
        seal(render(bundle()), keyring, AT_UTC, SHOP, REASON), keyring.trusted_certificates, stops
    )
    assert report.holds
    assert report.line("record.page").says == "record.page.earlier_edition"
    assert "– not looked at" in report.as_text()
