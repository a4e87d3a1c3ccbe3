"""The slot register as pages: one slot given, ended, set free; many at once, looked at before."""

from __future__ import annotations

import json
import re

import pytest

from tests.kit.walk import PlainControl
from tests.web.conftest import Browser, Site, read
from webapp.demo.step_answers import StepAnswers
from webapp.services.audit import people as people_rows
from webapp.services.audit import shop_rows
from webapp.services.people import rights
from webapp.services.shop import slots


class Disturbed(PlainControl):
    """A control at which somebody changed the slot since it was last seen."""

    def row_nm(self, label: str) -> dict[str, int]:
        return {axis: value + 5_000_000 for axis, value in super().row_nm(label).items()}


SEEN = re.compile(r'name="seen" value="([0-9a-f]{64})"')
G54, FREE = "/desk/slots/mill-1/G54", "/desk/slots/mill-1/G57"


@pytest.fixture
def lead(site: Site) -> Browser:
    return site.signed_in("ines")


def seen(browser: Browser, path: str) -> str:
    found = SEEN.search(browser.page(path))
    assert found
    return found[1]


def press(browser: Browser, path: str, action: str, **fields: str) -> int:
    return int(browser.send(f"{path}/{action}", seen=seen(browser, path), **fields).status_code)


def row(site: Site, label: str, machine: str = "mill-1") -> tuple[str, str | None, str | None, bool]:
    with site.house.store.reading():
        found = site.house.store.shop.slot(machine, label)
    assert found
    return found["kind"], found["owner"], found["until_utc"], bool(found["held_back"])


def told(site: Site) -> list[str]:
    with site.house.store.reading():
        rows = site.house.store.ledger.changes(newest=20)
        return [row["type"] for row in rows if row["type"].startswith(("slot.", "person.auth"))]


def test_a_slot_goes_from_hand_to_hand_on_its_own_page(site: Site, lead: Browser) -> None:
    assert "Give" in lead.page(FREE)
    assert press(lead, FREE, "give", person="ines", until="2026-12-18") == 303
    assert row(site, "G57") == ("person", "ines", "2026-12-19T00:00:00.000Z", False)
    assert 'value="2026-12-18"' in lead.page(FREE), "the last day that counts stands there to be changed"
    assert press(lead, FREE, "extend", person="ines", until="2027-01-31") == 303
    assert press(lead, FREE, "end") == 303
    assert "held back" in lead.page(FREE)
    assert press(lead, FREE, "release") == 303
    assert press(lead, FREE, "keep") == 303
    assert row(site, "G57") == ("shop", None, None, False)
    assert press(lead, FREE, "free") == 303
    assert row(site, "G57")[0] == "free"
    assert list(shop_rows.misfits(site.house.store)) == []
    assert told(site)[:6] == ["slot.no_longer_kept", "slot.kept_for_shop", "slot.released", "slot.ended",
                              "slot.given", "slot.given"]  # fmt: skip


def test_what_cannot_be_is_said_beside_the_form_and_what_was_typed_stays(site: Site, lead: Browser) -> None:
    for fields, said in (
        ({"person": "nobody-here"}, "nobody-here"),
        ({"person": "tomas", "until": "2020-01-01"}, "is over already"),
        ({"person": "tomas", "until": "soon"}, "is no day"),
    ):
        answer = lead.send(f"{FREE}/give", seen=seen(lead, FREE), **fields)
        assert answer.status_code == 422
        assert said in read(answer)
        assert f'value="{fields["person"]}"' in read(answer)
    assert lead.get("/desk/slots/mill-1/G99").status_code == 404
    assert row(site, "G57")[0] == "free"


def test_an_ended_slot_keeps_its_values_and_one_that_somebody_used_is_listed(site: Site) -> None:
    site.house.signed_off("mara")
    site.house.clock.forward(hours=4)
    other = site.house.walk("mara")
    other.answers = StepAnswers(
        other.sheet, "mara", Disturbed(other), other._question_id, touches_again=False
    )
    site.house.accept(other.start().through().parts)
    lead = site.signed_in("ines")
    page = " ".join(lead.page("/desk/slots").split())
    assert "Used by somebody else" in page
    assert f"/desk/setups/{other.setup}" in page
    assert press(lead, G54, "end") == 303
    assert 'class="plate"' in lead.page(G54)


TERM = "/desk/slots/term"


def plan(lead: Browser, **fields: object) -> tuple[str, str]:
    page = lead.send(TERM, do="look", **fields).get_data(as_text=True)
    found = SEEN.search(page)
    return " ".join(page.split()), found[1] if found else ""


def test_a_term_is_ended_and_a_class_is_given_slots_as_it_was_looked_at(site: Site, lead: Browser) -> None:
    ticked = ["mill-1 G54", "mill-1 G58"]
    page, version = plan(lead, what="end", slot=ticked)
    assert "2 slots, nothing stored yet" in page
    assert row(site, "G54")[3] is False
    assert lead.send(TERM, do="keep", what="end", slot=ticked, seen=version).status_code == 303
    assert row(site, "G54")[3] is row(site, "G58")[3] is True
    page, version = plan(lead, what="free", slot=ticked)
    assert lead.send(TERM, do="keep", what="free", slot=ticked, seen=version).status_code == 303
    given = {
        "what": "give",
        "machine": "mill-1",
        "people": "mara ivo",
        "until": "2027-01-31",
        "authorise": "y",
    }
    page, version = plan(lead, **given)
    assert "Mara Okafor, until" in page
    assert lead.send(TERM, do="keep", **given, seen=version).status_code == 303
    assert row(site, "G54")[:3] == ("person", "mara", "2027-02-01T00:00:00.000Z")
    with site.house.store.reading():
        (right,) = site.house.store.people.running(["ivo"])
    assert (right["machine"], right["given_by"]) == ("mill-1", "ines")
    page, version = plan(lead, what="move", slot=["mill-1 G54"], until="2027-03-01")
    assert (
        lead.send(
            TERM, do="keep", what="move", slot=["mill-1 G54"], until="2027-03-01", seen=version
        ).status_code
        == 303
    )
    assert row(site, "G54")[2] == "2027-03-02T00:00:00.000Z"
    assert [*shop_rows.misfits(site.house.store), *people_rows.misfits(site.house.store)] == []


def test_a_right_that_comes_with_a_slot_is_held_as_the_one_that_stands(site: Site, lead: Browser) -> None:
    """Who has to have a lead beside is let alone at a mill by no class that is given slots."""
    store, now = site.house.store, site.house.clock.forward(minutes=1)
    for label in ("G54", "G58"):
        slots.end_slot(store, "mill-1", label, "ines", now)
        slots.release(store, "mill-1", label, "ines", now)
    rights.authorise(store, "ivo", "mill-1", None, "ines", now, "beside", "Two mornings with Ines")
    given = {"what": "give", "machine": "mill-1", "people": "mara ivo", "authorise": "y", "level": "alone"}
    page, version = plan(lead, **given)
    assert "sets it up with a lead beside (Two mornings with Ines), as now" in page
    assert "sets it up alone, as now" in page
    site.house.clock.forward(minutes=1)
    assert lead.send(TERM, do="keep", **given, seen=version).status_code == 303
    with store.reading():
        (right,) = store.people.running(["ivo"])
    assert (right["level"], right["training"]) == ("beside", "Two mornings with Ines")
    assert [*people_rows.misfits(store)] == []


def test_a_level_that_changed_since_the_look_is_looked_at_again(site: Site, lead: Browser) -> None:
    store, now = site.house.store, site.house.clock.forward(minutes=1)
    given = {"what": "give", "machine": "mill-2", "people": "ivo", "authorise": "y", "level": "alone"}
    _, version = plan(lead, **given)
    rights.authorise(store, "ivo", "mill-2", None, "ines", now, "beside")
    answer = lead.send(TERM, do="keep", **given, seen=version)
    assert answer.status_code == 422
    assert "The register was changed while you looked" in read(answer)


def test_how_a_first_right_is_held_is_asked(site: Site, lead: Browser) -> None:
    given = {"what": "give", "machine": "mill-2", "people": "ivo mara", "authorise": "y"}
    page, version = plan(lead, **given)
    assert "Ivo Brandt has no right to this machine yet" in page
    assert "checked" not in page.split("How", 1)[1].split("</fieldset>", 1)[0]
    assert version == ""
    page, version = plan(lead, **{**given, "people": "ivo"}, level="beside")
    assert "sets it up with a lead beside, a first right" in page
    assert (
        lead.send(TERM, do="keep", **{**given, "people": "ivo"}, level="beside", seen=version).status_code
        == 303
    )
    with site.house.store.reading():
        levels = {one["machine"]: one["level"] for one in site.house.store.people.running(["ivo"])}
    assert levels["mill-2"] == "beside"


def test_every_fault_of_a_term_comes_at_once_and_nothing_is_done(site: Site, lead: Browser) -> None:
    page, version = plan(lead, what="give", machine="mill-1", people="mara nobody-here ivo")
    assert "Mara Okafor has a slot of this machine already" in page
    assert "Nobody has the short name “nobody-here”" in page
    assert version == ""
    assert "Nothing is chosen" in plan(lead, what="end")[0]
    assert "Nothing is chosen" in plan(lead)[0]
    assert "slot.ended" not in told(site)


def test_a_register_that_changed_since_the_look_is_not_touched(site: Site, lead: Browser) -> None:
    _, version = plan(lead, what="end", slot=["mill-1 G54"])
    assert press(site.signed_in("ines"), G54, "extend", person="mara", until="2027-05-01") == 303
    answer = lead.send(TERM, do="keep", what="end", slot=["mill-1 G54"], seen=version)
    assert answer.status_code == 422
    assert "The register was changed while you looked" in read(answer)
    assert json.dumps(row(site, "G54")[3]) == "false"
