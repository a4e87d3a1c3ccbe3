"""The demo's checks of its probes come out as its shop file says they are."""

from __future__ import annotations

import random
from datetime import date

import pytest

from webapp.demo.demo_shop import demo_shop_text
from webapp.demo.probe_checks import HUMP_NM, PLACES, SCATTER_NM, typed_check
from webapp.domain.probe.probe_health import work_out
from webapp.domain.shop.shop import Machine
from webapp.domain.shop.shop_file import read_shop

SHOP = read_shop(demo_shop_text(date(2026, 11, 25)))


@pytest.mark.parametrize("machine", SHOP.machines, ids=lambda machine: machine.id)
def test_a_check_finds_the_radius_and_the_lobing_that_were_put_into_it(machine: Machine) -> None:
    probe = next(one for one in SHOP.probes if one.id == machine.probe)
    chance = random.Random(4)
    found = [work_out(typed_check(machine, probe, chance), machine) for _ in range(40)]
    # Each radius scatters by the touches' scatter and the display's step over the root of the places.
    each_nm = (SCATTER_NM + machine.display.resolution_nm) / PLACES**0.5
    mean_nm = sum(one.effective_radius_nm for one in found) / len(found)
    assert abs(mean_nm - probe.effective_radius_nm) < 5 * each_nm / len(found) ** 0.5
    assert all(HUMP_NM < one.lobing_nm < 8 * HUMP_NM for one in found)
