"""Records at the desk: the unsigned page, sealing after the sign-off, the download, the check of a PDF."""

from __future__ import annotations

import io
import re
from hashlib import sha256

import pytest

from tests.kit.shop import PASSPHRASES
from tests.web.conftest import Browser, Site
from webapp.services.setups import recording
from webapp.services.times import utc_text


@pytest.fixture(scope="module")
def sealed(shared_site: Site) -> tuple[str, bytes]:
    """A setup that was signed off at the desk, and its sealed record."""
    walk = shared_site.house.signed()
    shared_site.house.clock.forward(minutes=5)
    lead = shared_site.signed_in("ines")
    answer = lead.decide(f"/desk/setups/{walk.setup}/sign-off", note="Good.", passphrase=PASSPHRASES["ines"])
    assert answer.status_code == 303
    assert answer.headers["Location"].endswith("done=sealed")
    return walk.setup, lead.get(f"/records/{walk.setup}.pdf").data


def check(browser: Browser, pdf: bytes, name: str = "record.pdf") -> tuple[int, str]:
    answer = browser.send("/audit/verify", pdf=(io.BytesIO(pdf), name))
    return answer.status_code, answer.get_data(as_text=True)


def test_signing_off_seals_the_record_and_the_page_shows_its_hash(
    shared_site: Site, sealed: tuple[str, bytes]
) -> None:
    setup, pdf = sealed
    assert pdf[:5] == b"%PDF-"
    page = shared_site.signed_in("ines").page(f"/desk/setups/{setup}")
    assert sha256(pdf).hexdigest() in page
    with shared_site.house.store.reading():
        assert shared_site.house.store.ledger.changes(kind="record.sealed")


def test_a_record_is_sent_as_a_file_to_keep(shared_site: Site, sealed: tuple[str, bytes]) -> None:
    answer = shared_site.signed_in("mara").get(f"/records/{sealed[0]}.pdf")
    assert answer.status_code == 200
    assert answer.mimetype == "application/pdf"
    assert answer.headers["Content-Disposition"] == f'attachment; filename="setup-{sealed[0]}.pdf"'
    assert answer.headers["Cache-Control"] == "no-store"


def test_a_sealed_record_that_is_brought_along_holds(shared_site: Site, sealed: tuple[str, bytes]) -> None:
    status, page = check(shared_site.signed_in("odo"), sealed[1])
    assert status == 200
    assert "Everything that was asked holds" in page
    assert ">×</span> fails" not in page


def test_a_record_with_one_bit_turned_does_not_hold(shared_site: Site, sealed: tuple[str, bytes]) -> None:
    altered = bytearray(sealed[1])
    altered[len(altered) // 2] ^= 1
    status, page = check(shared_site.signed_in("odo"), bytes(altered))
    assert status == 200
    assert "Not everything holds" in page


def test_a_pdf_that_our_key_sealed_and_our_ledger_does_not_know_does_not_hold(
    shared_site: Site, sealed: tuple[str, bytes]
) -> None:
    parts = shared_site.app.extensions["zerokeep"]
    shared_site.house.clock.forward(minutes=1)
    again = recording.bundle(parts.store, sealed[0], parts.now(), parts.renderer)
    status, page = check(shared_site.signed_in("odo"), parts.seal(parts.render(again), utc_text(parts.now())))
    assert status == 200
    assert "is not on the ledger" in page
    assert "Not everything holds" in page


@pytest.mark.parametrize("body", [b"", b"no pdf at all", b"%PDF-1.7\n%%EOF\n", b"\x00" * 5000])
def test_a_file_that_is_no_record_is_judged_and_not_a_fault(shared_site: Site, body: bytes) -> None:
    status, page = check(shared_site.signed_in("odo"), body)
    assert status in {200, 422}
    assert "Everything that was asked holds" not in page


def test_the_name_of_an_uploaded_file_is_text(shared_site: Site) -> None:
    _, page = check(shared_site.signed_in("odo"), b"%PDF-", "<script>alert(1)</script>.pdf")
    assert "<script>alert" not in page


def test_without_a_file_the_form_says_so(shared_site: Site) -> None:
    answer = shared_site.signed_in("odo").send("/audit/verify")
    assert answer.status_code == 422
    assert "Choose the PDF" in answer.get_data(as_text=True)


def test_the_unsigned_page_of_a_running_setup_is_a_pdf_and_not_kept(shared_site: Site) -> None:
    walk = shared_site.house.walk().start()
    shared_site.house.accept(walk.parts)
    answer = shared_site.signed_in("mara").get(f"/desk/setups/{walk.setup}/unsigned.pdf")
    assert answer.status_code == 200
    assert answer.data[:5] == b"%PDF-"
    assert "not-signed-off" in answer.headers["Content-Disposition"]
    assert shared_site.signed_in("mara").get(f"/records/{walk.setup}.pdf").status_code == 404


def test_a_setup_that_is_not_signed_off_cannot_be_sealed(shared_site: Site) -> None:
    walk = shared_site.house.signed()
    answer = shared_site.signed_in("ines").send(f"/desk/setups/{walk.setup}/seal")
    assert answer.status_code == 409


def test_a_record_that_could_not_be_sealed_leaves_the_sign_off_and_is_sealed_later(site: Site) -> None:
    walk = site.house.signed_off()  # signed off by the use case alone, as if sealing had failed
    lead = site.signed_in("ines")
    assert walk.setup[:8] in lead.page("/desk")
    assert "Seal the record now" in lead.page(f"/desk/setups/{walk.setup}")
    answer = lead.send(f"/desk/setups/{walk.setup}/seal")
    assert answer.headers["Location"].endswith("done=sealed")
    assert re.search(r"SHA-256 <span class=\"hash\">[0-9a-f]{64}", lead.page(f"/desk/setups/{walk.setup}"))


def test_a_sign_off_on_a_ledger_that_went_back_stands_and_says_why_nothing_is_sealed(site: Site) -> None:
    walk = site.house.signed()
    lead = site.signed_in("ines")
    site.house.store.kept_head.replace(10**6, "ab" * 32)
    answer = lead.decide(f"/desk/setups/{walk.setup}/sign-off", passphrase=PASSPHRASES["ines"])
    assert answer.headers["Location"].endswith("done=went_back")
    page = lead.page(answer.headers["Location"])
    assert "The sign-off stands" in page
    assert "zerokeep head --restored" in page
    assert lead.send(f"/desk/setups/{walk.setup}/seal").headers["Location"].endswith("done=went_back")
    with site.house.store.reading():
        row = site.house.store.setups.setup(walk.setup)
    assert row is not None
    assert row["status"] == "signed_off"


@pytest.mark.usefixtures("sealed")
def test_the_ledger_shows_each_entry_and_works_its_hash_out_again(shared_site: Site) -> None:
    auditor = shared_site.signed_in("odo")
    page = auditor.page("/audit")
    with shared_site.house.store.reading():
        size = shared_site.house.store.ledger.size()
        root = shared_site.house.store.ledger.root().hex()
    assert "record.sealed" in page
    assert root in page
    for beyond in (size + 50, 10**30, "9" * 5000):
        assert auditor.get(f"/audit/{beyond}").status_code == 404
    for position in (0, size // 2, size - 1):
        assert "the same" in auditor.page(f"/audit/{position}")
