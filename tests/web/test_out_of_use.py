"""A machine, a fixture or a probe goes out of use with a reason, and comes back; where it must stay, why."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.kit.shop import PINS, RIGHT_NM, load_second_vise
from tests.web.conftest import Site, read
from tests.web.test_items_desk import form, keep
from webapp.services.audit.auditing import audit
from webapp.services.errors import OutOfUseAlready, SetupUnderWay
from webapp.services.sheets.preparing import current_hashes
from webapp.services.shop import out_of_use

WHY = "Sold to the school."


def path(kind: str, item: str) -> str:
    return f"/desk/shop/{kind}/{item}/use"


def entry(site: Site, kind: str) -> dict[str, Any]:
    with site.house.store.reading():
        (row,) = site.house.store.ledger.changes(kind=kind)
    return {"by": row["by"], "subject": row["subject"], **json.loads(row["text"])["data"]}


def machines(site: Site) -> list[str]:
    return [place.machine for place in current_hashes(site.house.store, site.house.clock())]


@pytest.fixture
def two_vises(site: Site) -> Site:
    load_second_vise(site.house.store, site.house.keyring, site.house.clock())
    site.house.clock.forward(minutes=1)
    return site


def test_a_machine_goes_out_of_use_and_comes_back_as_it_was(site: Site) -> None:
    lead = site.signed_in("ines")
    before = site.house.sheet("mill-2")
    refused = lead.send(path("machine", "mill-2"), do="out", reason="")
    assert refused.status_code == 422
    assert "It is empty." in refused.get_data(as_text=True)
    assert lead.send(path("machine", "mill-2"), do="out", reason="  ").status_code == 422
    assert machines(site) == ["mill-1", "mill-2"]
    assert lead.send(path("machine", "mill-2"), do="out", reason=WHY).status_code == 303
    assert machines(site) == ["mill-1"]
    assert entry(site, "machine.retired") == {"by": "ines", "subject": "mill-2", "reason": WHY}
    assert "Dunlin" not in site.browser().page("/")
    assert "back into use" in lead.page("/desk/shop")
    late = site.signed_in("tomas").send(path("machine", "mill-2"), do="out", reason="Mine.")
    assert late.status_code == 422
    assert "Another lead did this a moment before." in late.get_data(as_text=True)
    assert "<b>What you typed:</b> Mine." in read(late)
    assert "Mine.</textarea>" not in read(late), "the form does the opposite now"
    assert audit(site.house.store) == []
    assert lead.send(path("machine", "mill-2"), do="back", reason="Not sold after all.").status_code == 303
    assert machines(site) == ["mill-1", "mill-2"]
    told = entry(site, "machine.changed")
    assert (told["back_in_use"], told["reason"], told["before"]) == (True, "Not sold after all.", {})
    now = json.loads(site.house.sheet("mill-2")[1])
    assert now["machine"] == json.loads(before[1])["machine"]
    assert audit(site.house.store) == []


def test_nothing_of_a_machine_that_is_in_use_goes_before_it(site: Site) -> None:
    lead = site.signed_in("ines")
    for kind, item, name in (("probe", "probe-1", "Probe 1"), ("fixture", "vise-a", "Vise A")):
        refused = lead.send(path(kind, item), do="out", reason=WHY)
        assert refused.status_code == 422
        assert f"{name} is named by Plover, which is in use." in refused.get_data(as_text=True)
    assert audit(site.house.store) == []


def test_a_setup_that_is_under_way_keeps_its_machine_in_use(site: Site) -> None:
    house, lead = site.house, site.signed_in("ines")
    walk = house.walk().start().until("search", "X")
    house.accept(walk.parts)
    refused = lead.send(path("machine", "mill-1"), do="out", reason=WHY)
    assert refused.status_code == 422
    assert "Mara Okafor began a setup with it" in refused.get_data(as_text=True)
    with pytest.raises(SetupUnderWay):
        out_of_use.take_out(house.store, "machine", "mill-1", WHY, "ines", house.clock())
    walk.event("setup.broken_off", {}, walk.step["id"])
    walk.event("break.explained", {"reason": "probe", "text": ""}, walk.step["id"])
    walk.until("sign").sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    assert lead.send(path("machine", "mill-1"), do="out", reason=WHY).status_code == 303
    assert audit(house.store) == []


def test_a_setup_that_was_left_long_ago_keeps_nothing_in_use(site: Site) -> None:
    house = site.house
    house.accept(house.walk().start().until("search", "X").parts)
    house.clock.forward(hours=12, minutes=1)
    out_of_use.take_out(house.store, "machine", "mill-1", WHY, "ines", house.clock())
    assert machines(site) == ["mill-2"]


def test_what_was_finished_before_is_signed_off_and_sealed_after_its_machine_went(site: Site) -> None:
    house = site.house
    walk = house.signed()
    out_of_use.take_out(house.store, "machine", "mill-1", WHY, "ines", house.clock())
    house.sign_off(walk.setup)
    assert f"/desk/setups/{walk.setup}" in site.signed_in("ines").page("/desk/setups?state=signed_off")
    assert audit(house.store) == []


def test_a_fixture_comes_back_in_a_new_seating(two_vises: Site) -> None:
    site = two_vises
    house, lead = site.house, site.signed_in("ines")
    house.signed_off("mara", fixture="vise-c", values_nm=dict(RIGHT_NM))
    assert lead.send(path("fixture", "vise-c"), do="out", reason=WHY).status_code == 422
    _name_at_plover(site, [])
    assert lead.send(path("fixture", "vise-c"), do="out", reason=WHY).status_code == 303
    assert lead.send(path("fixture", "vise-c"), do="back", reason="It came back.").status_code == 303
    with house.store.reading():
        seatings = house.store.shop.seatings("vise-c")
    assert [one["reason"] for one in seatings] == ["Bolted down beside vise A.", "It came back."]
    _name_at_plover(site, ["vise-c"])
    now = json.loads(house.sheet(fixture="vise-c")[1])
    assert {axis["usual"]["centre_nm"] for axis in now["axes"]} == {None}
    assert audit(house.store) == []


def _name_at_plover(site: Site, fixtures: list[str]) -> None:
    """Tick these in the machine's form, look, and keep it."""
    sent = form(site, "machine", "mill-1") | {"more_fixtures": ["", *fixtures]}
    assert keep(site.signed_in("ines"), "/desk/shop/machine/mill-1", sent, "As it stands.") == 303


def test_of_two_leads_who_bring_it_back_one_wins(site: Site) -> None:
    house = site.house
    out_of_use.take_out(house.store, "machine", "mill-2", WHY, "ines", house.clock())
    out_of_use.take_back(house.store, "machine", "mill-2", "Back.", "ines", house.clock(), "s-1")
    with pytest.raises(OutOfUseAlready):
        out_of_use.take_back(house.store, "machine", "mill-2", "Mine.", "tomas", house.clock(), "s-2")


def test_what_never_was_is_not_found(site: Site) -> None:
    assert site.signed_in("ines").get(path("probe", "probe-9")).status_code == 404
