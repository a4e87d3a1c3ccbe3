"""The list of setups: filters, rights, days of the shop, and pages that go on where the last one ended."""

from dataclasses import replace

import pytest

from tests.kit.grown import grow, setup_id
from tests.kit.house import House
from webapp.services.setups.listing import A_PAGE, Wanted, setups

MANY = 250


@pytest.fixture
def grown(house: House) -> House:
    grow(house, MANY)
    return house


def test_pages_follow_each_other_without_a_gap_and_without_a_double(grown: House) -> None:
    pages = [setups(grown.store, Wanted())]
    while pages[-1].older:
        pages.append(setups(grown.store, Wanted(after=pages[-1].older)))
    ids = [one.row["id"] for page in pages for one in page.rows]
    assert [len(page.rows) for page in pages] == [A_PAGE, A_PAGE, MANY - 2 * A_PAGE]
    assert ids == [setup_id(number) for number in reversed(range(MANY))]


def test_setups_of_the_same_moment_are_told_apart(grown: House) -> None:
    with grown.store.writing():
        grown.store._database.raw("UPDATE setup SET started_at_utc = '2026-01-01T00:00:00.000Z'")
    first = setups(grown.store, Wanted())
    second = setups(grown.store, Wanted(after=first.older or ""))
    third = setups(grown.store, Wanted(after=second.older or ""))
    ids = {one.row["id"] for page in (first, second, third) for one in page.rows}
    assert (len(ids), third.older) == (MANY, None)


def test_a_person_who_sees_their_own_alone_finds_the_oldest_of_them(grown: House) -> None:
    found, after = [], ""
    while True:
        page = setups(grown.store, Wanted(after=after), only_of="mara")
        found += [one.row for one in page.rows]
        if page.older is None:
            break
        after = page.older
    assert {row["person"] for row in found} == {"mara"}
    assert (len(found), found[-1]["id"]) == (84, setup_id(0))
    assert setups(grown.store, Wanted(person="tomas"), only_of="mara").rows == ()


@pytest.mark.parametrize(
    ("wanted", "count"),
    [
        (Wanted(machine="mill-2"), 84),
        (Wanted(person="ivo"), 83),
        (Wanted(state="signed_off"), A_PAGE),
        (Wanted(state="running"), 0),
        (Wanted(from_day="2024-01-08", to_day="2024-01-08"), 41),
        (Wanted(to_day="2024-01-07"), 0),
        (Wanted(from_day="2024-02-30"), A_PAGE),
        (Wanted(to_day="9999-12-31"), A_PAGE),
        (Wanted(slot="g54"), 42),
        (Wanted(slot="54", verdict="ask"), 21),
        (Wanted(verdict="ask"), 63),
        (Wanted(verdict="agrees", cause="chip"), 27),
        (Wanted(cause="chip", worry="fell"), 4),
        (Wanted(words="FLOOR"), 17),
        (Wanted(words="öl  am"), 17),
        (Wanted(words="OL AM", person="mara"), 0),
        (Wanted(words="nut", machine="mill-1", from_day="2024-01-08", to_day="2024-01-08"), 3),
        (Wanted(words="%"), 0),
        (Wanted(words="_"), 0),
        (Wanted(words="!'"), 0),
        (Wanted(slot="no such slot"), 0),
        (Wanted(verdict="nonsense"), A_PAGE),
        (Wanted(state="'; DROP TABLE setup", after="nonsense"), A_PAGE),
    ],
)
def test_what_fits_is_listed_and_what_cannot_be_read_asks_for_nothing(
    grown: House, wanted: Wanted, count: int
) -> None:
    assert len(setups(grown.store, wanted).rows) == count


def test_a_day_is_a_day_of_the_shop(grown: House) -> None:
    """00:15 on the ninth in Oslo is 23:15 on the eighth in UTC (IANA: +01:00 in January)."""
    day = Wanted(from_day="2024-01-09", to_day="2024-01-09")
    in_utc = {one.row["id"] for one in setups(grown.store, day).rows}
    with grown.store.writing():
        shop = grown.store.shop.item("shop", "shop")
        grown.store.shop.put("shop", "shop", {**shop, "time_zone": "Europe/Oslo"})
    in_oslo = {one.row["id"] for one in setups(grown.store, day).rows}
    rows = [one.row for one in setups(grown.store, day).rows]
    late = next(row for row in rows if row["started_at_utc"][:10] == "2024-01-08")
    assert late["id"] in in_oslo - in_utc
    assert late["started_at_utc"] >= "2024-01-08T23:00:00.000Z"


def test_a_look_ends_after_a_stretch_and_goes_on_from_there(grown: House) -> None:
    asked, found, looks = Wanted(words="floor", machine="mill-1"), [], 0
    page = setups(grown.store, asked, stretch=10)
    while True:
        found += [one.row["id"] for one in page.rows]
        looks += 1
        if page.older is None:
            break
        assert page.looked_to is not None
        assert page.looked_to <= min([one.row["started_at_utc"] for one in page.rows], default="9")
        page = setups(grown.store, replace(asked, after=page.older), stretch=10)
    assert found == [one.row["id"] for one in setups(grown.store, asked).rows]
    assert looks == MANY // 5 // 10 + 1


def test_what_fits_nowhere_costs_a_stretch_however_many_there_are(house: House) -> None:
    """Counted on a file as the steps of SQLite's machine (sqlite3_progress_handler), every tenth."""
    grow(house, 150)
    few = steps_of(house, Wanted(words="nobody said this"))
    grow(house, 450, first=150)
    assert steps_of(house, Wanted(words="nobody said this")) <= few * 1.1
    assert steps_of(house, Wanted(words="nobody said this"), stretch=20) > few * 1.5, "a stretch is a bound"


def steps_of(house: House, wanted: Wanted, stretch: int = 10) -> int:
    steps, connection = 0, house.store._database._connection()

    def step() -> int:
        nonlocal steps
        steps += 1
        return 0

    connection.set_progress_handler(step, 10)
    assert setups(house.store, wanted, stretch=stretch).rows == ()
    connection.set_progress_handler(None, 10)
    return steps
