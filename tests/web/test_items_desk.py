"""Machines, fixtures and probes at the desk: looked at, then kept; of two leads at once one wins."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import pytest

from tests.kit.shop import VISE
from tests.web.conftest import Browser, Site, read
from webapp.domain.shop.asked import Kind, inputs_of
from webapp.domain.shop.typed_item import typed_of
from webapp.services.audit import shop_rows
from webapp.services.shop import as_file, items
from webapp.web.show import item_looks

CELL = re.compile(r'class="number">([^<]*)</td>')
NUMBER = re.compile(r"±?[0-9.]+\u2009(mm|in)(/min)?")
SEEN = re.compile(r'name="seen" value="([0-9a-f]{64})"')


@pytest.fixture
def lead(site: Site) -> Browser:
    return site.signed_in("ines")


def form(site: Site, kind: Kind, item: str, unit: str = "mm", **other: str) -> dict[str, Any]:
    """What a browser sends of a form that nobody touched, with some answers of one's own."""
    found = items.found(site.house.store, kind, item)
    sent: dict[str, Any] = {**typed_of(kind, found.item, unit), "lengths_in": unit, "over": found.version}
    if "reset_drops" in sent:
        sent["reset_drops"] = sent["reset_drops"].split()
    return {**sent, **other}


def kept(site: Site, kind: Kind, item: str) -> Any:
    return items.found(site.house.store, kind, item).item


def entries(site: Site, kind: str) -> list[dict[str, Any]]:
    with site.house.store.reading():
        rows = site.house.store.ledger.changes(kind=kind)
        return [json.loads(row["text"]) for row in rows if row["by"] != "server"]


def look(lead: Browser, path: str, sent: dict[str, Any]) -> str:
    answer = lead.send(path, **sent, do="look")
    assert answer.status_code == 200, read(answer)
    return answer.get_data(as_text=True)


def keep(lead: Browser, path: str, sent: dict[str, Any], reason: str) -> int:
    """Look, then keep what was looked at."""
    seen = SEEN.search(look(lead, path, sent))
    assert seen
    return int(lead.send(path, **sent, do="keep", seen=seen[1], reason=reason).status_code)


def test_a_change_is_looked_at_before_it_is_kept_and_stands_on_the_ledger(site: Site, lead: Browser) -> None:
    path, sent = "/desk/shop/probe/probe-1", form(site, "probe", "probe-1", overtravel_side_nm="0,3")
    page = " ".join(look(lead, path, sent).split())
    assert "the next setup sheet" in page
    assert "first touch at" in page, "a shorter overtravel makes the first touch slower"
    assert kept(site, "probe", "probe-1").overtravel_side_nm != 300_000
    assert keep(lead, path, sent, "The stylus was changed.") == 303
    assert kept(site, "probe", "probe-1").overtravel_side_nm == 300_000
    (said,) = entries(site, "probe.changed")
    assert said["by"] == "ines"
    assert said["data"]["before"].keys() == {"overtravel_side_nm"}
    assert said["data"]["value"]["overtravel_side_nm"] == 300_000
    assert said["data"]["reason"] == "The stylus was changed."
    assert list(shop_rows.misfits(site.house.store)) == []


def numbers_of(page: str) -> list[list[str]]:
    """The numbers of each row of the look: now and then."""
    return [
        ["\u2009".join(cell.split()) for cell in CELL.findall(row)]
        for row in re.findall(r"<tr>.*?</tr>", page, re.DOTALL)
        if CELL.search(row)
    ]


def test_every_number_of_a_look_stands_with_its_unit(site: Site, lead: Browser) -> None:
    sent = form(site, "probe", "probe-1", overtravel_side_nm="0.3")
    slower = numbers_of(look(lead, "/desk/shop/probe/probe-1", sent))
    wider = form(site, "shop", "shop", ceiling_nm="0.1", search_cap_nm="4", stop_xy_nm="0.09", stop_one_in="")
    rows = [*slower, *numbers_of(look(lead, "/desk/shop/rules", wider))]
    numbers = {text for row in rows for text in row} - {"–"}
    assert {"mm", "mm/min", "in", "in/min"} == {text.partition("\u2009")[2] for text in numbers}
    assert all(NUMBER.fullmatch(text) for text in numbers), numbers


def test_a_machine_that_shows_another_unit_from_then_on_is_shown_in_that_before_and_after(
    site: Site, lead: Browser
) -> None:
    sent = form(site, "machine", "mill-1") | {"unit": "in", "decimals": "4", "latency_s": "0.09"}
    rows = numbers_of(look(lead, "/desk/shop/machine/mill-1", sent))
    assert rows
    assert {text.partition("\u2009")[2] for row in rows for text in row if text != "–"} <= {"in", "in/min"}


@pytest.mark.parametrize(
    ("unit", "told"),
    [
        ("in", "0.1 in is unusual. From 0 to 0.07874 in is usual."),
        ("mm", "2.54 mm is unusual. From 0 to 2 mm is usual."),
    ],
)
def test_what_is_unusual_is_said_in_the_unit_that_the_form_is_typed_in(unit: str, told: str) -> None:
    (said,) = item_looks.doubts("fixture", replace(VISE, edge_break_nm=2_540_000), unit)
    assert told in said


def test_nothing_is_kept_that_was_not_looked_at_or_has_no_reason(site: Site, lead: Browser) -> None:
    path, sent = "/desk/shop/machine/mill-1", form(site, "machine", "mill-1", deceleration_mm_per_s2="250")
    assert lead.send(path, **sent, do="keep", seen="0" * 64, reason="Why not.").status_code == 200
    assert keep(lead, path, sent, "  ") == 422
    other = {**sent, "deceleration_mm_per_s2": "200"}
    seen = SEEN.search(look(lead, path, other))
    assert seen
    assert lead.send(path, **sent, do="keep", seen=seen[1], reason="Measured.").status_code == 200
    assert entries(site, "machine.changed") == []


def test_every_fault_is_named_beside_its_field_and_what_was_typed_stays(site: Site, lead: Browser) -> None:
    wrong = {
        "travel_nm.X.low": "0", "travel_nm.X.high": "-700", "decimals": "three", "slot_family": " ",
        "parking_tool": "1O", "latency_s": "-1", "door": "curtain",
    }  # fmt: skip
    answer = lead.send("/desk/shop/machine/mill-1", **form(site, "machine", "mill-1", **wrong), do="look")
    page = read(answer)
    assert answer.status_code == 422
    for told in ("Were they typed the wrong way round?", "“three” is no number", "It is empty.",
                 "a tool number in digits", "a number, not negative", "Nothing is chosen."):  # fmt: skip
        assert told in page, told
    assert 'value="-700"' in page
    assert 'value="1O"' in page


def test_a_look_again_asks_for_no_reason_yet(site: Site, lead: Browser) -> None:
    page = " ".join(look(lead, "/desk/shop/probe/probe-1", form(site, "probe", "probe-1")).split())
    (why,) = re.findall(r'<input id="reason"[^>]*>', page)
    assert "required" in why, "or a browser would ask for nothing anyhow"
    (again,) = re.findall(r"<button([^>]*)>Look again", page)
    assert "formnovalidate" in again


@pytest.mark.parametrize(
    ("kind", "item", "field", "typed", "told"),
    [
        ("machine", "mill-1", "slot_family", "E1-E10000", "more than 500"),
        ("machine", "mill-1", "slot_family", ",", "no slot"),
        ("probe", "probe-1", "stylus_reach_nm", "4000", "longer than a spindle probe carries"),
        ("probe", "probe-1", "name", "{}", "a name in plain text"),
        ("fixture", "vise-a", "jaw_height_nm", "0", "a whole number above"),
        ("fixture", "vise-a", "jaw_height_nm", "45.0000001", "finer than a nanometre"),
        ("fixture", "vise-a", "parallels_nm", "12 12", "expected"),
        ("fixture", "vise-a", "jaw_length_nm", "9" * 30, "is no number"),
        ("fixture", "vise-a", "jaw_length_nm", "1,016", "read as 1.016 or as 1016."),
        ("fixture", "vise-a", "parallels_nm", "12 1,016", "read as 1.016 or as 1016."),
        ("fixture", "vise-a", "u_seat_nm", "1,500", "read as 1.500 or as 1500."),
        ("machine", "mill-1", "travel_nm.X.low", "-1,016", "read as -1.016 or as -1016."),
        ("machine", "mill-1", "first_feed_mm_per_min", "1,200", "read as 1.200 or as 1200."),
        ("machine", "mill-1", "deceleration_mm_per_s2", "1,000", "read as 1.000 or as 1000."),
        ("machine", "mill-1", "probe_sleeps_minutes", "1,000", "read as 1.000 or as 1000."),
    ],
)
def test_what_cannot_be_is_refused(
    shared_site: Site, kind: Kind, item: str, field: str, typed: str, told: str
) -> None:
    site = shared_site
    answer = site.signed_in("ines").send(
        f"/desk/shop/{kind}/{item}", **form(site, kind, item, **{field: typed})
    )
    assert answer.status_code == 422
    assert told.lower() in read(answer).lower()


@pytest.mark.parametrize("typed", ["1,5", "0,500", "1,5000", "12,34"])
def test_a_comma_that_parts_no_thousands_is_a_decimal_one(shared_site: Site, typed: str) -> None:
    sent = form(shared_site, "fixture", "vise-a", edge_break_nm=typed)
    answer = shared_site.signed_in("ines").send("/desk/shop/fixture/vise-a", **sent, do="look")
    assert answer.status_code == 200, read(answer)
    assert f'name="edge_break_nm" value="{typed}"' in read(answer)


def asked_of(lead: Browser, kind: str) -> tuple[str, set[str]]:
    """A new form, and the names of all that is answered in it before anybody types."""
    page = lead.get(f"/desk/shop/{kind}/new").get_data(as_text=True)
    parts = Answers()
    parts.feed(page)
    return page, parts.answered


class Answers(HTMLParser):
    """Names of inputs of a page that hold an answer: a text, a tick."""

    def __init__(self) -> None:
        super().__init__()
        self.answered: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if tag != "input" or found.get("type") in {"hidden", "submit"}:
            return
        is_box = found.get("type") in {"radio", "checkbox"}
        if "checked" in found if is_box else found.get("value"):
            self.answered.add(str(found.get("name")))


@pytest.mark.parametrize("kind", ["machine", "fixture", "probe"])
def test_a_new_form_holds_no_answer_that_nobody_gave(shared_site: Site, kind: Kind) -> None:
    """The one thing offered is today, as the day since which a new vise stands; both units are in use."""
    page, answered = asked_of(shared_site.signed_in("ines"), kind)
    assert answered <= {"since"}
    assert all(f'name="{name}"' in page for name in inputs_of(kind))


@pytest.mark.parametrize(
    ("kind", "names"),
    [
        ("machine", ["travel_nm", "z_zero_at_top", "deceleration_mm_per_s2", "latency_s", "feeds_typed",
                     "first_feed_mm_per_min", "fine_feed_mm_per_min", "unit", "decimals", "fixture",
                     "probe"]),
        ("fixture", ["jaw_length_nm", "jaw_thickness_nm", "jaw_height_nm", "opening_nm", "edge_break_nm",
                     "fixed_side", "touched_end"]),
        ("probe", ["ball_diameter_nm", "effective_radius_nm", "stylus_reach_nm", "overtravel_side_nm",
                   "overtravel_up_nm"]),
    ],
)  # fmt: skip
def test_what_moves_a_machine_is_asked_and_nothing_stands_in_for_an_answer(
    shared_site: Site, kind: Kind, names: list[str]
) -> None:
    lead = shared_site.signed_in("ines")
    item = {"machine": "mill-1", "fixture": "vise-a", "probe": "probe-1"}[kind]
    sent = form(shared_site, kind, item)
    for name in names:
        left_out = {key: text for key, text in sent.items() if key.partition(".")[0] != name}
        left_out |= {"over": "", "since": "2026-11-20"}
        answer = lead.send(f"/desk/shop/{kind}/new", **left_out, do="look")
        assert answer.status_code == 422, name
        assert f'<li><a href="#i-{name}' in read(answer), name


def test_lengths_are_read_in_no_unit_that_nobody_chose(site: Site, lead: Browser) -> None:
    sent = {**form(site, "probe", "probe-1", name="Other probe"), "over": ""}
    del sent["lengths_in"]
    answer = lead.send("/desk/shop/probe/new", **sent, do="look")
    assert answer.status_code == 422
    assert "Lengths are typed in</a>: Nothing is chosen." in read(answer)
    assert 'value="Other probe"' in read(answer)
    with site.house.store.writing():
        site.house.store.shop.retire("machine", "mill-2")
    _, answered = asked_of(lead, "probe")
    assert answered == {"lengths_in"}, "every machine shows millimetres"


def test_a_new_vise_comes_with_a_seating_that_began_with_its_day(site: Site, lead: Browser) -> None:
    sent = {**typed_of("fixture", VISE, "mm"), "name": "Schraubstock Ü", "lengths_in": "mm"}
    answer = lead.send("/desk/shop/fixture/new", **sent, since="2999-01-01", do="look")
    assert answer.status_code == 422
    assert "has not begun yet" in read(answer)
    page = lead.send("/desk/shop/fixture/new", **sent, since="yesterday", do="look")
    assert "“yesterday” is no day" in read(page)
    assert keep(lead, "/desk/shop/fixture/new", {**sent, "since": "2026-11-20"}, "") == 303
    with site.house.store.reading():
        seating = site.house.store.shop.seating_now("schraubstock")
    assert seating is not None
    assert seating["since_utc"] == "2026-11-20T00:00:00.000Z"
    assert entries(site, "fixture.added")[0]["subject"] == "schraubstock"
    assert list(shop_rows.misfits(site.house.store)) == []


def test_a_form_that_nobody_touched_changes_nothing(site: Site, lead: Browser) -> None:
    size = site.house.store
    with size.reading():
        before = size.ledger.size()
    for kind, item, unit in (
        ("machine", "mill-1", "mm"),
        ("fixture", "vise-a", "mm"),
        ("probe", "probe-1", "mm"),
    ):
        assert keep(lead, f"/desk/shop/{kind}/{item}", form(site, kind, item, unit), "Looked.") == 303  # type: ignore[arg-type]
    with size.reading():
        assert size.ledger.size() == before


def test_the_whole_shop_leaves_as_a_file_and_that_stands_on_the_ledger(site: Site) -> None:
    answer = site.signed_in("odo").get("/desk/shop/file")
    assert answer.status_code == 200
    assert "attachment" in answer.headers["Content-Disposition"]
    tables = tomllib.loads(answer.get_data(as_text=True))
    assert {machine["id"] for machine in tables["machine"]} == {"mill-1", "mill-2"}
    assert len(as_file.shop_of(site.house.store).slots) == len(tables["slot"])
    assert entries(site, "shop.downloaded")[0]["by"] == "odo"


def test_the_vise_is_drawn_as_it_is_typed_and_says_so_while_it_cannot_be(lead: Browser) -> None:
    empty = lead.get("/desk/shop/drawing.svg")
    assert empty.headers["Content-Type"].startswith("image/svg+xml")
    assert "The drawing comes as soon as" in read(empty)
    typed = {**typed_of("fixture", VISE, "mm"), "lengths_in": "mm"}
    drawn = lead.get("/desk/shop/drawing.svg", query_string=typed).get_data(as_text=True)
    wider = lead.get("/desk/shop/drawing.svg", query_string={**typed, "opening_nm": "20"}).get_data(
        as_text=True
    )
    dark = lead.get("/desk/shop/drawing.svg", query_string={**typed, "theme": "dark"}).get_data(as_text=True)
    assert 'class="fixed_jaw"' in drawn
    assert drawn != wider != dark != drawn


def test_the_stylus_is_drawn_as_it_is_typed_and_its_form_shows_it(site: Site, lead: Browser) -> None:
    empty = lead.get("/desk/shop/drawing.svg", query_string={"of": "probe"})
    assert "The drawing comes as soon as" in read(empty)
    typed = {**typed_of("probe", kept(site, "probe", "probe-1"), "mm"), "lengths_in": "mm", "of": "probe"}
    drawn = lead.get("/desk/shop/drawing.svg", query_string=typed).get_data(as_text=True)
    longer = lead.get("/desk/shop/drawing.svg", query_string={**typed, "stylus_reach_nm": "80"})
    assert 'class="ball"' in drawn
    assert "reach 80.000 mm" in longer.get_data(as_text=True)
    page = lead.page("/desk/shop/probe/probe-1")
    assert "The stylus as it is typed here, to scale" in page
    assert "of=probe" in page


def test_the_travel_is_drawn_as_it_is_typed_and_its_form_shows_it_beside_its_inputs(
    site: Site, lead: Browser
) -> None:
    empty = lead.get("/desk/shop/drawing.svg", query_string={"of": "machine"})
    assert "The drawing comes as soon as one axis has both its ends" in read(empty)
    of_x = {"of": "machine", "travel_nm.X.low": "-30", "travel_nm.X.high": "0"}
    assert "X \u221230 \u2026 0, Y ? \u2026 ?" in read(lead.get("/desk/shop/drawing.svg", query_string=of_x))
    typed = {**typed_of("machine", kept(site, "machine", "mill-1"), "mm"), "of": "machine"}
    drawn = read(lead.get("/desk/shop/drawing.svg", query_string=typed))
    low, high = typed["travel_nm.X.low"], typed["travel_nm.X.high"]
    turned = read(
        lead.get("/desk/shop/drawing.svg",
                 query_string={**typed, "travel_nm.X.low": high, "travel_nm.X.high": low})
    )  # fmt: skip
    assert "has to lie below" not in drawn
    assert "\u00d7 X: low has to lie below high." in turned
    page = lead.page("/desk/shop/machine/mill-1")
    shown = page[page.index('name="travel_nm.X.low"') : page.index('name="z_zero_at_top"')]
    assert "The travel as it is typed here, to scale" in shown
    assert "of=machine" in shown
    assert "machine=mill-1" in shown
    sent = form(site, "machine", "mill-1", **{"travel_nm.X.low": high, "travel_nm.X.high": low})
    refused = lead.send("/desk/shop/machine/mill-1", **sent, do="look")
    assert refused.status_code == 422
    assert "Were they typed the wrong way round?" in read(refused)


def test_the_travel_shows_where_a_vise_stands_once_that_is_known(site: Site, lead: Browser) -> None:
    typed = {**typed_of("machine", kept(site, "machine", "mill-1"), "mm"), "of": "machine"}
    asked = {"path": "/desk/shop/drawing.svg", "query_string": {**typed, "machine": "mill-1"}}
    before = read(lead.get(**asked))
    site.house.signed_off()
    name = kept(site, "fixture", VISE.id).name
    after = read(lead.get(**asked))
    assert f">{name}</text>" in after
    assert before.count("<circle") + 2 == after.count("<circle")
    nobodys = {**asked, "query_string": {**typed, "machine": "not-there"}}
    assert read(lead.get(**nobodys)) == before
