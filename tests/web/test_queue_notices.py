"""What the lead's first page says about the server itself."""

import sqlite3

from tests.kit.shop import PASSPHRASES
from tests.web.conftest import Site
from webapp.services import auditing


def test_findings_of_the_audit_stand_at_the_top_of_the_leads_page(site: Site) -> None:
    site.house.sheet()
    site.house.store.close()
    connection = sqlite3.connect(site.house.folder / "zerokeep.db")
    connection.execute("DROP TRIGGER sheet_no_update")
    connection.execute("UPDATE sheet SET text = text || ' '")
    connection.commit()
    connection.close()
    lead = site.signed_in("ines")
    assert "does not fit" not in lead.page("/desk")
    auditing.run(site.house.store, site.house.clock())
    page = lead.page("/desk")
    assert "What is stored does not fit: 1 finding<" in page
    assert "A setup sheet was changed: <code>sheet " in page


def test_an_audit_that_finds_nothing_is_told_in_a_line(site: Site) -> None:
    auditing.run(site.house.store, site.house.clock())
    page = site.signed_in("ines").page("/desk")
    assert "everything fits" in page
    assert "does not fit" not in page


def test_the_end_of_the_seals_certificate_is_told_from_sixty_days_before(site: Site) -> None:
    lead = site.signed_in("ines")
    assert "renew-seal" not in lead.page("/desk")
    site.house.clock.forward(days=3650 - 30)
    page = site.signed_in("ines").page("/desk")
    assert "in 30 days" in page
    assert "zerokeep renew-seal" in page


def test_a_sign_off_past_the_end_stands_and_says_why_there_is_no_seal(site: Site) -> None:
    walk = site.house.signed()
    site.house.clock.forward(days=3651)
    lead = site.signed_in("ines")
    answer = lead.decide(f"/desk/setups/{walk.setup}/sign-off", note="", passphrase=PASSPHRASES["ines"])
    assert answer.status_code == 303
    page = lead.page(answer.headers["Location"])
    assert "signed off" in page
    assert "certificate ended on 2036-11-22" in page
    assert "certificate ended on 2036-11-22" in lead.page("/desk")
