"""Setups are found by what was raised in them, and the rows that are shown leave as a table or as JSON."""

from __future__ import annotations

import csv
import hashlib
import io
import json

import pytest

from tests.services.test_worrying import raised
from tests.web.conftest import Site
from webapp.services.evidence.entries import Sought, sought_entries
from webapp.services.evidence.looked_at import LISTED, OTHER_LIST
from webapp.services.setups import closing


def test_setups_are_found_by_a_worry_and_by_its_words(site: Site) -> None:
    plain = site.house.signed()
    fell = raised(site.house, "fell", "probe", "On the Floor by the door.")
    loose = raised(site.house, "vise_loose", "vise", "A nut turned.")
    lead = site.signed_in("ines")
    for asked, found in (
        ("worry=fell", {fell.setup}),
        ("words=floor", {fell.setup}),
        ("worry=fell&words=nut", set()),
        ("words=nut&person=mara", {loose.setup}),
        ("", {plain.setup, fell.setup, loose.setup}),
    ):
        rows = json.loads(lead.text(f"/desk/setups.json?{asked}"))
        assert {row["setup"] for row in rows} == found, asked
    page = lead.page("/desk/setups?worry=fell&words=nut")
    assert "No setup fits this filter." in page
    assert 'value="nut"' in page


def test_the_table_is_of_what_is_shown_has_no_formula_and_is_on_the_ledger(site: Site) -> None:
    walk = site.house.signed()
    with site.house.store.writing():
        site.house.store.people.call("mara", "=cmd|'/c calc'!A0", "ab" * 32)
    lead = site.signed_in("ines")
    text = lead.text("/desk/setups.csv?machine=mill-1")
    (row,) = list(csv.DictReader(io.StringIO(text)))
    assert row["setup"] == walk.setup
    assert row["person_name"] == "'=cmd|'/c calc'!A0"
    assert lead.text("/desk/setups.csv?machine=mill-2").count("\r\n") == 1
    with site.house.store.reading():
        (noted, *_) = site.house.store.ledger.changes(kind=LISTED)
    assert json.loads(noted["text"])["by"] == "ines"


def test_another_table_within_ten_minutes_is_another_copy_and_the_same_one_is_not(site: Site) -> None:
    site.house.signed()
    lead = site.signed_in("ines")
    taken = ["/desk/setups.csv?machine=mill-1", "/desk/setups.csv?machine=mill-2", "/desk/setups.json"]
    texts = [lead.text(address) for address in (*taken, *taken)][:3]
    with site.house.store.reading():
        noted = [json.loads(row["text"])["data"] for row in site.house.store.ledger.changes(kind=LISTED)]
    assert [one["sha256"] for one in noted[::-1]] == [
        hashlib.sha256(text.encode()).hexdigest() for text in texts
    ]
    assert [(one["form"], one["rows"]) for one in noted[::-1]] == [("csv", 1), ("csv", 0), ("json", 1)]


def test_an_operator_takes_their_own_rows_alone(site: Site) -> None:
    site.house.signed("tomas")
    assert json.loads(site.signed_in("mara").text("/desk/setups.json")) == []


def test_every_list_leaves_as_it_is_shown_without_a_formula(site: Site) -> None:
    raised(site.house, "fell", "probe", "=1+1")
    with site.house.store.writing():
        site.house.store.people.call("mara", "=cmd|'/c calc'!A0", "ab" * 32)
    lead = site.signed_in("ines")
    for page, asked, file, mine in (
        ("/desk/slots", "?words=cmd", "/desk/slots.csv", "owner_name"),
        ("/desk/people", "?find=cmd", "/desk/people.csv", "name"),
        ("/audit", "?by=mara", "/audit/entries.csv", "by_name"),
    ):
        rows = list(csv.DictReader(io.StringIO(lead.text(file + asked))))
        assert rows, page
        assert {row[mine] for row in rows} == {"'=cmd|'/c calc'!A0"}, page
        shown = lead.page(page + asked)
        assert f'href="{file}{asked}"' in shown, page
        as_json = json.loads(lead.text(file.replace(".csv", ".json") + asked))
        assert len(as_json) == len(rows)
        assert {row[mine] for row in as_json} == {"=cmd|'/c calc'!A0"}
        assert "Show" in shown
    with site.house.store.reading():
        noted = site.house.store.ledger.changes(kind=OTHER_LIST)
    assert {row["subject"] for row in noted} == {"slots", "people", "ledger"}


def test_slots_are_found_by_owner_word_and_what_they_are(site: Site) -> None:
    lead = site.signed_in("ines")

    def labels(asked: str) -> list[str]:
        found = json.loads(lead.text(f"/desk/slots.json?{asked}"))
        return [f"{row['machine']} {row['slot']}" for row in found]

    assert labels("person=mara") == ["mill-1 G54", "mill-2 G54"]
    assert labels("words=OKAFOR&machine=mill-2") == ["mill-2 G54"]
    assert labels("only=shop") == ["mill-1 G56"]
    assert labels("words=g5&only=person&machine=mill-1") == ["mill-1 G54", "mill-1 G55", "mill-1 G58"]
    assert labels("only=used") == labels("words=%25") == labels("words=_") == []
    assert labels("only=nonsense&person=tomas") == ["mill-1 G55"]
    assert labels("after=mill-1+G58&only=person") == ["mill-2 G54"]
    page = lead.page("/desk/slots?words=nobody")
    assert "No slot fits this filter." in page
    assert 'value="nobody"' in page


def test_the_ledger_is_found_by_what_by_whom_by_day_and_by_words(site: Site) -> None:
    walk = raised(site.house, "fell", "probe", "Über den Boden gerollt")
    lead = site.signed_in("ines")

    def found(asked: str) -> list[dict[str, str]]:
        rows: list[dict[str, str]] = json.loads(lead.text(f"/audit/entries.json?{asked}"))
        return rows

    assert {row["what"] for row in found("what=worry")} == {"worry.raised"}
    assert {row["what"] for row in found("what=worry.raised&by=mara")} == {"worry.raised"}
    assert found("what=worry&by=tomas") == found("what=orry") == found("what=%25") == []
    (said,) = [row for row in found("words=UBER+den") if row["what"] == "worry.raised"]
    assert said["setup"] == walk.setup
    day = said["at_utc"][:10]
    assert said in found(f"words=boden&from={day}&to={day}")
    assert found(f"words=boden&to={int(day[:4]) - 1}-01-01") == []
    assert found("from=2099-01-01&what=worry") == []
    assert "Bodenlos" not in lead.page("/audit?words=boden")
    page = lead.page("/audit?words=nobody+ever")
    assert "No entry fits this filter." in page
    assert 'value="nobody ever"' in page


@pytest.mark.parametrize("typed", ["Überholt", "ÜBERHOLT", "ÖLFILM", '"Backe" \\ links'])
def test_what_the_server_wrote_is_found_by_words_as_they_stand_there(site: Site, typed: str) -> None:
    store, reason = site.house.store, 'Überholt, mit ÖLFILM, "Backe" \\ links'
    closing.close(store, "mill-1", reason, "ines", site.house.clock())
    found = sought_entries(store, Sought(words=typed), None, most=10)
    assert [one.type for one in found.entries] == ["machine.closed"]


def test_a_look_through_the_ledger_ends_after_a_stretch_and_goes_on(site: Site) -> None:
    site.house.signed()
    store, places = site.house.store, []
    before: int | None = None
    while True:
        found = sought_entries(store, Sought(by="mara"), before, most=100, stretch=7)
        places += [one.position for one in found.entries]
        if found.older is None:
            break
        before = found.older
    whole = sought_entries(store, Sought(by="mara"), None, most=1_000)
    assert places == [one.position for one in whole.entries]
    assert len(places) > 20
