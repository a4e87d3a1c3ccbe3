"""A second vise on a machine at the desk: named in its form, looked at, with a budget of its own."""

from __future__ import annotations

import json

import pytest

from tests.kit.shop import RIGHT_NM, load_second_vise
from tests.web.conftest import Browser, Site, read
from tests.web.test_items_desk import entries, form, keep, kept, look
from webapp.domain.shop.fitted_machine import Place
from webapp.services.audit.auditing import audit
from webapp.services.numbers import budgeting

PLOVER = "/desk/shop/machine/mill-1"


@pytest.fixture
def lead(site: Site) -> Browser:
    return site.signed_in("ines")


@pytest.fixture
def two(site: Site) -> Site:
    load_second_vise(site.house.store, site.house.keyring, site.house.clock())
    site.house.clock.forward(minutes=1)
    return site


def free_vise(site: Site, lead: Browser) -> str:
    """Enter another vise at the desk; its id."""
    sent = {**form(site, "fixture", "vise-a"), "name": "Vise D", "since": "2026-11-20", "over": ""}
    assert keep(lead, "/desk/shop/fixture/new", sent, "") == 303
    return "vise-d"


def test_a_second_vise_is_entered_ticked_at_its_machine_and_has_a_sheet(site: Site, lead: Browser) -> None:
    vise = free_vise(site, lead)
    sent = form(site, "machine", "mill-1") | {"more_fixtures": ["", vise]}
    page = " ".join(look(lead, PLOVER, sent).split())
    assert "Plover, Vise A, the next setup sheet" in page
    assert "Plover, Vise D, its first setup sheet" in page
    assert keep(lead, PLOVER, sent, "A second vise for long plates.") == 303
    assert kept(site, "machine", "mill-1").more_fixtures == (vise,)
    (said,) = entries(site, "machine.changed")
    assert said["data"]["before"] == {"more_fixtures": []}
    assert json.loads(site.house.sheet(fixture=vise)[1])["fixture"]["name"] == "Vise D"
    assert "Vise A, Vise D" in lead.page("/desk/shop")
    assert "Plover, Vise D</h2>" in lead.page("/desk/machines")
    assert "Vise D" in lead.page("/desk/fixtures")
    assert audit(site.house.store) == []


def test_a_form_that_does_not_ask_leaves_the_fixtures_as_they_are(two: Site) -> None:
    lead = two.signed_in("ines")
    sent = form(two, "machine", "mill-1", name="Plover two")
    del sent["more_fixtures"]
    assert keep(lead, PLOVER, sent, "Called so.") == 303
    assert kept(two, "machine", "mill-1").more_fixtures == ("vise-c",)


@pytest.mark.parametrize(
    ("ticked", "said"),
    [
        (["vise-a"], "none of them the one under fixture"),
        (["vise-b"], "Vise B is bolted to Dunlin."),
        (["vise-zz"], "There is no fixture “vise-zz” in use here."),
    ],
)
def test_what_cannot_be_on_it_is_refused_with_the_reason(
    site: Site, lead: Browser, ticked: list[str], said: str
) -> None:
    sent = form(site, "machine", "mill-1") | {"more_fixtures": ["", *ticked]}
    refused = lead.send(PLOVER, **sent, do="look")
    assert refused.status_code == 422
    assert said in read(refused)
    assert kept(site, "machine", "mill-1").more_fixtures == ()


def test_each_fixture_has_a_budget_of_its_own(two: Site) -> None:
    lead, store, now = two.signed_in("ines"), two.house.store, two.house.clock()
    path = "/desk/machines/mill-1/budget"
    assert "at Vise C" in lead.page(f"{path}?fixture=vise-c")
    sent = {"confidence": "0.99", "reason": "The second is for fine work."}
    answer = lead.send(f"{path}/confidence?fixture=vise-c", **sent)
    assert answer.status_code == 303
    assert "fixture=vise-c" in answer.headers["Location"]
    of_second = budgeting.machine_budget(store, Place("mill-1", "vise-c"), now)
    assert (of_second.confidence, budgeting.machine_budget(store, "mill-1", now).confidence) == (
        "0.99",
        "0.95",
    )
    assert lead.get(f"{path}?fixture=vise-b").status_code == 404
    assert audit(store) == []


def test_the_register_says_of_which_vise_the_numbers_of_a_slot_are(two: Site) -> None:
    lead = two.signed_in("ines")
    assert "Vise C" not in lead.page("/desk/slots")
    two.house.signed("mara", fixture="vise-c", values_nm=dict(RIGHT_NM))
    assert "Vise C" in lead.page("/desk/slots")
