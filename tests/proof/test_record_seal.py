"""Sealing a record takes time and name from the record itself."""

import pytest

from tests.proof.pdfs import REASON, SHOP, plain_pdf
from tests.proof.records import bundle, changed, render
from webapp.proof.errors import SealError
from webapp.proof.keys import KeyRing
from webapp.proof.record_seal import seal_record
from webapp.proof.record_verify import verify_record


def test_a_record_sealed_by_what_it_states_holds(keyring: KeyRing) -> None:
    report = verify_record(
        seal_record(render(bundle()), keyring, REASON), keyring.trusted_certificates, render
    )
    assert report.failures == ()
    fields = report.line("seal.words").fields
    assert (fields["at"], fields["name"], fields["reason"]) == ("2026-11-25T08:03:12Z", SHOP, REASON)


def test_a_pdf_that_is_no_record_is_not_sealed(keyring: KeyRing) -> None:
    for pdf in (plain_pdf(), b"no pdf"):
        with pytest.raises(SealError) as refused:
            seal_record(pdf, keyring, REASON)
        assert refused.value.code == "seal.no_record"
        assert str(refused.value)


@pytest.mark.parametrize("missing", ["sealed_at_utc", "shop"])
def test_a_record_that_does_not_state_its_time_or_shop_is_not_sealed(keyring: KeyRing, missing: str) -> None:
    record = {name: value for name, value in bundle().record.items() if name != missing}
    with pytest.raises(SealError, match=missing):
        seal_record(render(changed(record=record)), keyring, REASON)


def test_an_unsigned_record_without_a_time_is_not_sealed(keyring: KeyRing) -> None:
    with pytest.raises(SealError) as refused:
        seal_record(render(changed(record={**bundle().record, "sealed_at_utc": None})), keyring, REASON)
    assert refused.value.code == "seal.time"
