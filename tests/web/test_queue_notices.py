"""What the lead's first page says about the server itself."""

import sqlite3
from datetime import timedelta
from pathlib import Path

from tests.kit.clock import Clock
from tests.kit.shop import PASSPHRASES
from tests.kit.tampering import without_triggers
from tests.web.conftest import Site, make_site
from webapp.proof.certificates import own_certificate
from webapp.proof.certificates.local_authority import Power
from webapp.proof.keys.key_ring import KeyRing
from webapp.server.certificates import CHANCE
from webapp.services.audit import auditing
from webapp.services.evidence import safekeeping


def test_findings_of_the_audit_stand_at_the_top_of_the_leads_page(site: Site) -> None:
    site.house.sheet()
    site.house.store.close()
    connection = sqlite3.connect(site.house.folder / "zerokeep.db")
    with without_triggers(connection.execute):
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


def test_looks_at_what_came_say_how_far_the_last_look_at_all_of_it_reached(site: Site) -> None:
    """The third look goes on from the second; what the first looked at is no more than it was."""
    whole = auditing.run(site.house.store, site.house.clock())
    site.house.clock.forward(days=1)
    second = auditing.run(site.house.store, site.house.clock(), only_new=True)
    assert f"and all {whole.entries} entries that there were then" in site.signed_in("ines").page("/desk")
    site.house.clock.forward(days=1)
    third = auditing.run(site.house.store, site.house.clock(), only_new=True)
    assert third.first == second.entries > whole.entries
    page = site.signed_in("ines").page("/desk")
    assert f"and all {whole.entries} entries that there were then" in page
    assert "by looks before that" in page


def test_the_end_of_the_seals_certificate_is_told_from_sixty_days_before(site: Site) -> None:
    lead = site.signed_in("ines")
    assert "renew-seal" not in lead.page("/desk")
    site.house.clock.forward(days=3650 - 30)
    page = site.signed_in("ines").page("/desk")
    assert "in 30 days" in page
    assert "zerokeep renew-seal" in page


def test_the_end_of_the_servers_certificate_is_told_to_leads_and_at_last_on_the_board(
    tmp_path: Path, keys: tuple[Path, KeyRing]
) -> None:
    folder, name = tmp_path / "certificate", "setup.shop.lan"
    power = Power((name,), ())
    made = own_certificate.make(folder, power, [name], "A shop", "four plain words", Clock()(), CHANCE)
    shown = own_certificate.server_file(folder)
    site = make_site(tmp_path, keys, tls_certificate=shown, tls_key=shown)
    site.house.clock.moment = made.server.not_valid_after_utc - timedelta(days=61)
    assert "certificate ends" not in site.signed_in("ines").page("/desk")
    site.house.clock.forward(days=11)
    assert "in 50 days" in site.signed_in("ines").page("/desk")
    assert "certificate ends" not in site.browser().page("/")
    site.house.clock.forward(days=25)
    assert "in 25 days" in site.browser().page("/")
    site.house.clock.forward(days=26)
    assert "certificate ended on" in site.signed_in("ines").page("/desk")
    assert "certificate ended on" in site.browser().page("/")
    site.house.store.close()
    site.app.extensions["zerokeep"].close()


def test_what_is_signed_off_and_not_sealed_is_counted_and_said_at_the_top(site: Site) -> None:
    assert "without a sealed record" not in site.signed_in("ines").page("/desk")
    for _ in range(2):
        site.house.signed_off()
    page = site.signed_in("ines").page("/desk")
    assert "2 setups are signed off without a sealed record yet" in page
    assert 'record not sealed yet <span class="count">2</span>' in page
    for _ in range(11):
        site.house.signed_off()
    page = site.signed_in("ines").page("/desk")
    assert "13 setups are signed off without a sealed record yet" in page
    assert "1 more behind them" in page


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


def test_a_jump_of_the_clock_is_noted_before_the_next_write_and_shown_to_leads(
    tmp_path: Path, keys: tuple[Path, KeyRing]
) -> None:
    elapsed = [0.0]
    site = make_site(tmp_path, keys, elapsed_s=lambda: elapsed[0])
    lead = site.signed_in("ines")
    elapsed[0] += 60
    site.house.clock.forward(seconds=60)
    lead.send("/desk/tablets/code")
    assert "clock jumped" not in lead.page("/desk")
    site.house.clock.forward(minutes=10)
    lead.send("/desk/tablets/code")
    page = lead.page("/desk")
    assert "clock jumped" in page
    assert "600 seconds forward" in page
    with site.house.store.reading():
        types = [row["type"] for row in site.house.store.ledger.changes(newest=2)]
    assert types == ["code.made", "clock.jumped"]
    site.house.store.close()
    site.app.extensions["zerokeep"].close()


def test_a_start_with_a_clock_behind_the_ledger_is_shown_to_leads(
    tmp_path: Path, keys: tuple[Path, KeyRing]
) -> None:
    site = make_site(tmp_path, keys, back=timedelta(days=1))
    page = site.signed_in("ines").page("/desk")
    assert "86400 seconds back, seen at a start" in page
    site.house.store.close()
    site.app.extensions["zerokeep"].close()


def test_a_shop_with_records_and_without_a_backup_is_told_so_first(site: Site) -> None:
    lead = site.signed_in("ines")
    assert "No backup was ever made" not in lead.page("/desk")
    safekeeping.note(site.house.store, safekeeping.SEALED, {}, site.house.clock())
    assert "No backup was ever made" in lead.page("/desk")
    for kind in (safekeeping.MADE, safekeeping.TRIED):
        safekeeping.note(site.house.store, kind, {}, site.house.clock())
    assert "backup" not in lead.page("/desk")
