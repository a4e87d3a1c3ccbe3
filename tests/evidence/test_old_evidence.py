"""What earlier editions signed, sealed and stored still opens, folds and holds."""

import json
import re
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from cryptography import x509

from tests.evidence.making import CERTIFICATES, SAID, make, restored, said_of_setups
from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import SHOP, fixed_keyring
from webapp import record
from webapp.domain.record.edition import PAGES_EDITION
from webapp.domain.shop.told_shop import SeatingStart
from webapp.proof.report import Report
from webapp.proof.sealed_record.record_verify import verify_record
from webapp.renderer import RENDERER
from webapp.services.audit.auditing import audit
from webapp.services.evidence.ledger import SERVER, keep_head
from webapp.services.numbers import seatings
from webapp.services.shop.loading import load
from webapp.store import Store

SETS = sorted(path.parent for path in Path(__file__).parent.glob(f"*/{SAID}"))
RECORDS = [pdf for folder in SETS for pdf in sorted(folder.glob("record-*.pdf"))]


def edition(folder: Path) -> int:
    return int(json.loads((folder / SAID).read_text(encoding="utf-8"))["edition"])


def judged(pdf: Path, data: bytes | None = None) -> Report:
    certificates = x509.load_pem_x509_certificates((pdf.parent / CERTIFICATES).read_bytes())
    return verify_record(data or pdf.read_bytes(), certificates, record.render, renderer=RENDERER)


def with_head(store: Store) -> Store:
    """The file that lay beside the database: what was kept of it is the database alone."""
    keep_head(store)
    return store


@pytest.mark.parametrize("folder", SETS, ids=lambda folder: folder.name)
def test_an_old_database_opens_holds_and_folds_to_what_it_said(folder: Path, tmp_path: Path) -> None:
    store = with_head(Store.open(restored(folder, tmp_path)))
    said = json.loads((folder / SAID).read_text(encoding="utf-8"))["setups"]
    assert len(said) >= 7
    assert said_of_setups(store) == said
    assert audit(store) == []


@pytest.mark.parametrize("folder", SETS, ids=lambda folder: folder.name)
def test_an_old_database_takes_in_a_file_with_other_seatings_and_holds(folder: Path, tmp_path: Path) -> None:
    """One from before the shop began, one between, and one of today, loaded one after the other."""
    store, clock = with_head(Store.open(restored(folder, tmp_path))), Clock()
    clock.forward(days=30)
    keyring = fixed_keyring(tmp_path / "keys", clock)
    days = ("2026-10-05", "2026-11-20", "2026-12-20")
    more = [SeatingStart(f"of-{day}", "vise-a", f"{day}T09:00:00.000Z", "Trammed.") for day in days]
    for count in range(1, len(more) + 1):
        shop = replace(SHOP, seatings=(*SHOP.seatings, *more[:count]))
        load(store, shop, SERVER, clock(), lambda _: "", keyring)
        assert audit(store) == []
    seatings.start_seating(store, "vise-a", "back", "Trammed.", "ines", clock(), since=date(2026, 12, 22))
    assert audit(store) == []
    with store.reading():
        ends = {row["id"]: row["until_utc"] for row in store.shop.seatings("vise-a")}
    assert [*ends] == ["of-2026-10-05", "vise-a-1", "of-2026-11-20", "of-2026-12-20", "back"]
    assert list(ends.values()).count(None) == 1


@pytest.mark.parametrize("pdf", RECORDS, ids=lambda pdf: f"{pdf.parent.name}-{pdf.stem}")
def test_an_old_record_holds(pdf: Path) -> None:
    """Pages of the edition in use are printed again to the byte:
    whoever changes them raises PAGES_EDITION.
    """
    report = judged(pdf)
    assert report.failures == ()
    printed_again = edition(pdf.parent) == PAGES_EDITION
    assert report.line("record.page").state == ("holds" if printed_again else "not_looked_at")


def test_an_old_record_that_was_changed_fails() -> None:
    pdf = RECORDS[0].read_bytes()
    place = next(found.start() for found in re.finditer(rb"stream\r?\n", pdf)) + 40
    changed = pdf[:place] + bytes([pdf[place] ^ 1]) + pdf[place + 1 :]
    assert not judged(RECORDS[0], changed).holds


def test_the_edition_in_use_left_evidence() -> None:
    """`python -m tests.evidence NAME` after a change of the pages, of what is stored or of an event kind."""
    assert max(map(edition, SETS)) == PAGES_EDITION


def test_evidence_is_never_made_again(house: House, tmp_path: Path) -> None:
    with pytest.raises(FileExistsError):
        make(SETS[0], house)
    make(tmp_path / "new", house)
    assert {path.suffix for path in (tmp_path / "new").iterdir()} == {".sql", ".json", ".pem", ".pdf"}
    shutil.rmtree(tmp_path / "new")


@pytest.fixture
def house(tmp_path: Path) -> House:
    return House(tmp_path / "shop")
