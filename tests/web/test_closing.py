"""A machine is closed with a reason: the board, the wall and its sheets say so; the board's other lines."""

from __future__ import annotations

import json

import pytest

from tests.web.conftest import Site, read
from webapp.services.audit import auditing
from webapp.services.errors import ClosedOrOpenAlready
from webapp.services.setups import closing

PATH = "/desk/machines/mill-1/closed"
WHY = "The spindle drips oil."


def sheet_says(site: Site) -> list[tuple[str, bool, str]]:
    board = json.loads(site.house.sheet()[1])["board"]
    return [(one["worry"], one["blocks"], one["text"]) for one in board["worries"]]


def test_a_closed_machine_is_told_everywhere_and_opened_again(site: Site) -> None:
    lead = site.signed_in("ines")
    assert sheet_says(site) == []
    refused = lead.send(PATH, do="close", reason="")
    assert refused.status_code == 422
    assert lead.send(PATH, do="close", reason=WHY).status_code == 303
    assert "Refresh" not in site.browser().get("/wall").headers
    assert site.browser().get("/wall?renew=yes").headers["Refresh"] == "30"
    for page in (site.browser().page("/"), site.browser().page("/wall")):
        assert WHY in page
        assert "no setup until a lead opens it" in page
    assert sheet_says(site) == [("machine_closed", True, WHY)]
    late = site.signed_in("tomas").send(PATH, do="close", reason="Mine.")
    assert late.status_code == 422
    assert "Another lead did this a moment before." in late.get_data(as_text=True)
    assert "<b>What you typed:</b> Mine." in read(late)
    assert "Mine.</textarea>" not in read(late), "the form does the opposite now"
    assert lead.send(PATH, do="open", reason="Mended.").status_code == 303
    assert WHY not in site.browser().page("/")
    assert sheet_says(site) == []
    with site.house.store.reading():
        (row,) = site.house.store.ledger.changes(kind=closing.OPENED)
    told = json.loads(row["text"])["data"]
    assert (told["reason"], told["before"]["reason"], told["before"]["by"]) == ("Mended.", WHY, "ines")
    assert auditing.audit(site.house.store) == []


def test_of_two_leads_who_close_it_one_wins_and_a_shop_file_leaves_it_closed(site: Site) -> None:
    house = site.house
    closing.close(house.store, "mill-1", WHY, "ines", house.clock())
    with pytest.raises(ClosedOrOpenAlready):
        closing.close(house.store, "mill-1", "Mine.", "tomas", house.clock())
    with house.store.reading():
        kept = closing.closed(house.store, "mill-1")
    assert kept is not None
    assert (kept.by, kept.reason) == ("ines", WHY)


def test_the_board_says_when_a_check_is_due_and_only_a_lead_is_told_whose_right_ends_next(site: Site) -> None:
    house = site.house
    page = site.browser().page("/")
    assert "calibration" not in page
    with house.store.writing():
        house.store.numbers.put_care("probe-1", every_days=30, factor_hundredths=100)
        house.store.people.authorise("mara", "mill-1", "2026-01-01T00:00:00.000Z", "2026-11-25T12:00:00.000Z")
    for path in ("/", "/wall"):
        page = site.browser().page(path)
        assert "Probe 1: calibration was never done" in page
        assert "Mara Okafor" not in page
        assert "2026-11-25 12:00" not in page
    said = site.signed_in("ines").page("/desk").partition("Rights that end next")[2].partition("</ul>")[0]
    assert "Plover: Mara Okafor" in said
    assert "2026-11-25 12:00" in said
