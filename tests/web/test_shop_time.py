"""Desk pages show the shop's own time beside UTC where the shop has named its zone, and only then."""

from dataclasses import replace

from tests.web.conftest import Site
from webapp.domain.shop.fields import as_plain, from_plain
from webapp.domain.shop.shop import ShopRules


def keep_zone(site: Site, zone: str) -> None:
    store = site.house.store
    with store.writing():
        rules = from_plain(ShopRules, store.shop.item("shop", "shop"))
        store.shop.put("shop", "shop", as_plain(replace(rules, time_zone=zone)))


def test_times_at_the_desk_carry_the_shops_own_time(site: Site) -> None:
    walk = site.house.signed()
    keep_zone(site, "Asia/Kathmandu")
    lead = site.signed_in("ines")
    table = lead.page("/desk/setups")
    assert "times in UTC, beside them in Asia/Kathmandu" in table
    assert '</time> <span class="local">' in table
    assert "+05:45</span>" in table
    setup = lead.page(f"/desk/setups/{walk.setup}")
    assert "</time> UTC (" in setup
    assert "+05:45)" in setup


def test_a_shop_without_a_zone_reads_utc_alone(site: Site) -> None:
    site.house.signed()
    table = site.signed_in("ines").page("/desk/setups")
    assert '<p class="label">newest first · times in UTC</p>' in table
    assert 'class="local"' not in table
