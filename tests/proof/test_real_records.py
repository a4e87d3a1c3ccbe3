"""Records as the record room prints them, signed by a tablet, sealed, and judged by others' programs as well
as ours.
"""

import json
import warnings
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec

from tests.kit.reviewing import bound
from tests.proof.judges import (
    openssl_accepts,
    pdfsig_accepts,
    pyhanko_accepts,
    qpdf_accepts,
    strays_from_pdf_a,
    strays_from_pdf_ua,
)
from tests.proof.pdfs import REASON
from tests.proof.records import in_ledger
from tests.record.made_up import TALES, Tale
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.record.bundle import RecordBundle, from_files
from webapp.proof.keys import jws
from webapp.proof.keys.key_ring import KeyRing
from webapp.proof.pdf.pdf_seal import seal
from webapp.proof.sealed_record.record_verify import verify_record
from webapp.record import render

EVIDENCE = Path(__file__).parents[1] / "evidence" / "edition-3"
KEY = ec.derive_private_key(90_001, ec.SECP256R1())


def signed(bundle: RecordBundle) -> RecordBundle:
    """The same setup with every event signed by one tablet, ids and chain following from that."""
    jwk = jws.public_jwk(KEY.public_key())
    new_ids: dict[str, str] = {}
    events: list[str] = []
    for old, event in zip(bundle.events, bundle.decoded_events(), strict=True):
        payload = {name: value for name, value in event.items() if name != "id"}
        payload |= {"device": jwk["kid"], "previous": new_ids.get(event["previous"] or "")}
        events.append(jws.sign(canonical_text(payload).encode(), KEY, jwk["kid"], jws.EVENT_TYPE))
        new_ids[sha256(old.rpartition(".")[0].encode()).hexdigest()] = jws.event_id(events[-1])
    decisions = tuple(canonical_text(_renamed(json.loads(text), new_ids)) for text in bundle.decisions)
    device = {"id": jwk["kid"], "name": "Tablet 2", "jwk": jwk}
    return in_ledger(bound(replace(bundle, events=tuple(events), devices=(device,), decisions=decisions)))


def _renamed(decision: dict[str, Any], new_ids: dict[str, str]) -> dict[str, Any]:
    data = decision["data"]
    return {**decision, "data": {**data, "event": new_ids[data["event"]]} if "event" in data else data}


def printed(bundle: RecordBundle) -> bytes:
    """The record's pages; a record that was printed already is not printed again."""
    return _printed(tuple(bundle.files().items()))


@cache
def _printed(files: tuple[tuple[str, bytes], ...]) -> bytes:
    return printed_anew(from_files(dict(files)))


def printed_anew(bundle: RecordBundle) -> bytes:
    with warnings.catch_warnings():
        # The renderer leaves its colour profile open; that is not what is tested here.
        warnings.simplefilter("ignore", ResourceWarning)
        return render(bundle)


def test_a_record_that_is_printed_anew_holds(keyring: KeyRing) -> None:
    bundle = signed(TALES["normal"]().bundle())
    pdf = seal(printed(bundle), keyring, bundle.record["sealed_at_utc"], bundle.record["shop"], REASON)
    assert verify_record(pdf, keyring.trusted_certificates, printed_anew).failures == ()


@pytest.mark.parametrize("tell", TALES.values(), ids=TALES)
def test_a_printed_record_holds_and_two_other_verifiers_agree(
    keyring: KeyRing, tmp_path: Path, tell: Callable[[], Tale]
) -> None:
    bundle = signed(tell().bundle())
    pdf = seal(printed(bundle), keyring, bundle.record["sealed_at_utc"], bundle.record["shop"], REASON)
    report = verify_record(pdf, keyring.trusted_certificates, printed)
    assert report.failures == ()
    assert pyhanko_accepts(pdf, keyring.trusted_certificates)
    assert pdfsig_accepts(pdf, tmp_path)
    assert openssl_accepts(pdf, keyring.trusted_certificates, tmp_path)
    assert qpdf_accepts(pdf, tmp_path)
    assert strays_from_pdf_a(pdf) == []
    assert strays_from_pdf_ua(pdf) == []


def test_openssl_refuses_a_changed_record_and_another_shops(keyring: KeyRing, tmp_path: Path) -> None:
    bundle = signed(TALES["normal"]().bundle())
    pdf = seal(printed(bundle), keyring, bundle.record["sealed_at_utc"], bundle.record["shop"], REASON)
    changed = pdf[:2000] + bytes([pdf[2000] ^ 1]) + pdf[2001:]
    assert not openssl_accepts(changed, keyring.trusted_certificates, tmp_path)
    others = x509.load_pem_x509_certificates((EVIDENCE / "seal-certificates.pem").read_bytes())
    assert not openssl_accepts(pdf, others, tmp_path)


def test_the_judge_of_pdf_a_tells_what_earlier_editions_broke() -> None:
    """Up to the third edition what a file says of itself was compressed: a rule that nobody had asked for."""
    (told,) = strays_from_pdf_a(min(EVIDENCE.glob("record-*.pdf")).read_bytes())
    assert "METADATA-FILTER" in told
