"""A school of two thousand: pages of people are short,
are found through, and cost what those of a small shop cost.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.web.conftest import Site, make_site
from tests.web.test_pages_keep_their_cost import cost_of
from webapp.proof.keys.key_ring import KeyRing

ROW = re.compile(r'data-label="short name"><code>([^<]+)</code>')


def with_people(folder: Path, keys: tuple[Path, KeyRing], count: int) -> Site:
    site = make_site(folder, keys)
    with site.house.store.writing():
        for number in range(count):
            site.house.store.people.add(f"p{number:04}", f"Person {number % 700:04}", ["operator"], "5a" * 32)
            site.house.store.people.authorise(f"p{number:04}", "mill-1", "2026-01-01T00:00:00.000Z", None)
    return site


@pytest.fixture(scope="module")
def schools(
    tmp_path_factory: pytest.TempPathFactory, keys: tuple[Path, KeyRing]
) -> Iterator[tuple[Site, Site]]:
    both = tuple(with_people(tmp_path_factory.mktemp("school"), keys, count) for count in (20, 2_000))
    yield both[0], both[1]
    for site in both:
        site.house.store.close()
        site.app.extensions["zerokeep"].close()


def test_everybody_is_reached_once_a_page_of_a_hundred_at_a_time(schools: tuple[Site, Site]) -> None:
    _, many = schools
    lead, path, seen = many.signed_in("ines"), "/desk/people", list[str]()
    for _ in range(30):
        page = lead.page(path)
        rows = ROW.findall(page)
        assert 0 < len(rows) <= 100
        seen += rows
        following = re.search(r'href="(/desk/people\?after=[^"]+)">More people', page)
        if not following:
            break
        path = following[1]
    with many.house.store.reading():
        assert seen == [person["id"] for person in many.house.store.people.everybody()]


def test_people_are_found_by_a_part_of_their_name_or_short_name(schools: tuple[Site, Site]) -> None:
    _, many = schools
    lead = many.signed_in("ines")
    assert ROW.findall(lead.page("/desk/people?find=0123")) == ["p0123", "p0823", "p1523"]
    assert ROW.findall(lead.page("/desk/people?find=p1999")) == ["p1999"]
    page = lead.page("/desk/people?find=%25")
    assert not ROW.findall(page)
    assert "Nobody’s name has “%” in it." in page


def test_the_list_of_setups_carries_the_names_of_few_and_asks_for_one_of_many(
    schools: tuple[Site, Site],
) -> None:
    few, many = schools
    assert few.signed_in("ines").page("/desk/setups").count("Person 00") == 20
    page = many.signed_in("ines").page("/desk/setups?person=p0007")
    assert "Person 00" not in page
    assert '<input id="person" name="person" maxlength="80" value="p0007">' in page


@pytest.mark.parametrize("path", ["/desk/people", "/desk/people?find=p0019"])
def test_a_page_of_people_costs_the_same_however_many_there_are(
    schools: tuple[Site, Site], path: str
) -> None:
    few, many = (cost_of(site, path) for site in schools)
    assert many.statements <= few.statements
    # Names beside ids are read whole, and looking through names is one pass over them: a few steps a name.
    assert many.steps <= few.steps + 2_000 * 25 + 100 * 60
