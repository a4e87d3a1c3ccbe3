"""One time everywhere: the shop's own first, UTC small beside it where that is another."""

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from tests.services.test_worrying import raised
from tests.web.conftest import Site
from tests.web.test_pages_keep_their_cost import PAGES
from webapp.domain.plain.zones import shop_moment
from webapp.domain.shop.fields import as_plain, from_plain
from webapp.domain.shop.shop import ShopRules
from webapp.services.people import rights
from webapp.services.times import utc_text

ROOT = Path(__file__).parents[2]


def keep_zone(site: Site, zone: str) -> None:
    store = site.house.store
    with store.writing():
        rules = from_plain(ShopRules, store.shop.item("shop", "shop"))
        store.shop.put("shop", "shop", as_plain(replace(rules, time_zone=zone)))


def test_times_at_the_desk_are_the_shops_with_utc_small_beside_them(site: Site) -> None:
    walk = site.house.signed()
    keep_zone(site, "Asia/Kathmandu")
    lead = site.signed_in("ines")
    table = lead.page("/desk/setups")
    assert "times in Asia/Kathmandu, small beside them in UTC" in table
    assert '13:45</time> <small class="utc">08:00 UTC</small>' in table
    setup = lead.page(f"/desk/setups/{walk.setup}")
    assert "13:45</time>" in setup
    assert "(08:00 UTC)" in setup


def test_a_shop_without_a_zone_reads_utc_alone(site: Site) -> None:
    site.house.signed()
    table = site.signed_in("ines").page("/desk/setups")
    assert '<p class="label">newest first · times in UTC</p>' in table
    assert 'class="utc"' not in table


def test_a_persons_own_page_says_in_which_zone_a_right_ends(site: Site) -> None:
    until = utc_text(site.house.clock() + timedelta(days=3))
    rights.authorise(site.house.store, "ivo", "mill-1", until, "ines", site.house.clock(), "alone")
    ivo = site.signed_in("ivo")
    assert f"{until[11:16]}</time> UTC" in ivo.page("/me")
    keep_zone(site, "Asia/Kathmandu")
    assert f"({until[11:16]} UTC)" in ivo.page("/me")


# What a page may show of UTC: small beside the shop's time, in brackets behind it, in an address or an
# attribute, and in the exact text of what was signed.
BESIDE = re.compile(
    r"<(?P<kept>pre|code|script|style|option)\b.*?</(?P=kept)>|<small class=\"utc\">.*?</small>|"
    r"\(([0-9-]{10} )?[0-9]{2}:[0-9]{2} UTC\)|<[^>]*>",
    re.DOTALL,
)
ON_PAGES = re.compile(r"\b([0-9]{2}:[0-9]{2})\b")


def test_no_page_shows_a_time_in_utc_where_the_shops_own_belongs(site: Site) -> None:
    """In Kathmandu (IANA: +05:45) no minute of what happened has the same digits in both: a UTC minute on a
    page stands where the shop's own belongs.
    """
    site.house.signed_off()
    raised(site.house, "fell", "probe", "On the floor.")
    asked = site.house.walk().start()
    asked.question(1, None, "Is this right?")
    site.house.accept(asked.parts)
    keep_zone(site, "Asia/Kathmandu")
    lead, store = site.signed_in("ines"), site.house.store
    with store.reading():
        kept = store._database.raw("SELECT at_utc FROM event UNION SELECT at_utc FROM change")
        setups = [row["id"] for row in store.setups.setups()]
    times = [at_utc for (at_utc,) in kept]
    in_utc = {one[11:16] for one in times} - {shop_moment(one, "Asia/Kathmandu")[11:16] for one in times}
    assert len(in_utc) > 3
    told, seen = {}, 0
    for path in (*PAGES, *(f"/desk/setups/{one}" for one in setups)):
        if "/desk/setups/b0" in path or ".csv" in path or ".json" in path:
            continue
        shown = set(ON_PAGES.findall(BESIDE.sub(" ", lead.get(path).get_data(as_text=True))))
        seen += bool(shown)
        if wrong := shown & in_utc:
            told[path] = wrong
    assert told == {}
    assert seen > 10


def test_no_template_writes_a_kept_time_by_itself() -> None:
    """A kept time reaches a page by the filters of `shop_zone` alone: no slice of one, and none as it is."""
    by_itself = re.compile(r"_utc\s*(\[|\}\})|_utc\s*or\s*\"\"\)\[")
    wrong = {
        f"{path.name}:{number}"
        for folder in ("desk", "partials")
        for path in (ROOT / "templates" / folder).rglob("*.html")
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if by_itself.search(re.sub(r'(datetime|value)="\{\{.*?\}\}"', "", line))
    }
    assert wrong == set()


def test_a_day_before_the_calendar_of_utc_stays_in_the_form_with_its_sentence(site: Site) -> None:
    keep_zone(site, "Europe/Berlin")
    typed = {"reason": "Moved.", "since": "0001-01-01"}
    answer = site.signed_in("ines").send("/desk/fixtures/vise-a/seating", **typed)
    assert answer.status_code == 422
    assert "0001-01-01 is no day since which anything stands." in answer.text
    assert 'value="0001-01-01"' in answer.text
