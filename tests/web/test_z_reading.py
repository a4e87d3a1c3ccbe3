"""What a machine's page reads on Z: checked by a lead on one page, refused in words, kept on the ledger."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from tests.kit.shop import MILL, PASSPHRASES, PROBE
from tests.web.conftest import Site
from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.z_check import ZTyped, work_out

PAGE = "/desk/machines/mill-1/z"
# The top at -300.050, the ball's radius 3 mm, the gauge line 150 mm above its centre: -300.050 + 3 + 150.
TYPED = {"point": "gauge_line", "length": "150", "surface": "-300.050", "page": "-147.050"}


def axes(site: Site) -> dict[str, Any]:
    site.house.clock.forward(minutes=2)
    sheet = json.loads(site.house.sheet()[1])
    return {"z_point": sheet["machine"]["z_point"], **{one["axis"]: one["approach"] for one in sheet["axes"]}}


def test_a_check_that_holds_gives_z_coordinates_and_stands_on_the_ledger(site: Site) -> None:
    lead = site.signed_in("ines")
    assert "No Z coordinate is given." in lead.page(PAGE)
    assert (axes(site)["z_point"], axes(site)["Z"]["clear_above_surface_nm"]) == (None, None)
    assert lead.send(PAGE, **TYPED, passphrase=PASSPHRASES["ines"]).status_code == 303
    page = lead.page(PAGE)
    assert "the spindle&#39;s gauge line" in page
    assert "No Z coordinate is given." not in page
    found = axes(site)
    assert (found["z_point"], found["Z"]["stand_above_ball_nm"]) == ("gauge_line", 150_000_000)
    assert "machine.z_checked" in lead.page("/audit")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"passphrase": "seven herons walk to the sea"}, "passphrase"),
        ({"length": ""}, "the probe&#39;s length is empty"),
        ({"page": "-144.050"}, "3.000 mm apart"),
        ({"point": "ball_underside", "page": "-297.050"}, "That is the centre of the ball"),
        ({"surface": ""}, "Type the height of the surface"),
        ({"page": "1e3"}, "has an exponent"),
    ],
)
def test_what_does_not_fit_is_refused_in_words_and_nothing_typed_is_lost(
    site: Site, changed: dict[str, str], said: str
) -> None:
    lead = site.signed_in("ines")
    typed = {**TYPED, "passphrase": PASSPHRASES["ines"], **changed}
    answer = lead.send(PAGE, **typed)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert said in page
    for name in ("length", "surface", "page"):
        assert f'value="{typed[name]}"' in page
    assert PASSPHRASES["ines"] not in page
    assert axes(site)["z_point"] is None


def test_an_auditor_reads_it_and_an_operator_does_not(site: Site) -> None:
    page = site.signed_in("odo").page(PAGE)
    assert "Keep this check" not in page
    assert site.signed_in("mara").get(PAGE).status_code == 403


def test_another_probe_or_another_length_in_the_file_takes_the_check_away(site: Site) -> None:
    lead = site.signed_in("ines")
    lead.send(PAGE, **TYPED, passphrase=PASSPHRASES["ines"])
    assert axes(site)["z_point"] == "gauge_line"
    store = site.house.store
    with store.writing():
        machine = store.shop.item("machine", "mill-1")
        assert machine is not None
        store.shop.put("machine", "mill-1", {**machine, "z_point": "ball_centre"})
    assert axes(site)["z_point"] is None
    assert "made with another probe" in lead.page(PAGE)
    with store.writing():
        store.shop.put("machine", "mill-1", {**machine, "probe_length_repeats": False})
    assert axes(site)["z_point"] is None


@pytest.mark.parametrize(
    ("point", "page", "above_nm"),
    [
        ("ball_centre", "-297.050", 0),
        ("ball_underside", "-300.050", -3_000_000),
        ("ball_centre", "-297.249", 0),
    ],
)
def test_each_point_is_told_by_the_touch(point: str, page: str, above_nm: int) -> None:
    found = work_out(ZTyped(point, "", "-300.050", page), MILL, PROBE)
    assert found.reading.above_ball_nm(3_000_000) == above_nm
    with pytest.raises(DomainError) as refused:
        work_out(ZTyped(point, "", "-300.050", "-296.849"), MILL, PROBE)
    assert refused.value.code in {"z_check.disagrees", "z_check.fits_another"}


def test_a_small_ball_has_a_tolerance_that_tells_its_points_apart() -> None:
    tiny = replace(PROBE, ball_diameter_nm=500_000)
    assert work_out(ZTyped("ball_centre", "", "0", "0.300"), MILL, tiny).shown_above_nm == 50_000
    with pytest.raises(DomainError):
        work_out(ZTyped("ball_centre", "", "0", "0.350"), MILL, tiny)
