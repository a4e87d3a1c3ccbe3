"""Two leads at once on one thing, in both databases: one wins, the other is told and loses nothing typed."""

from __future__ import annotations

import re

from tests.web.conftest import Site, read
from tests.web.test_items_desk import SEEN, entries, form, keep, kept, look
from tests.web.test_people_desk import fields
from webapp.services.shop import items, slots

SLOT_SEEN = re.compile(r'name="seen" value="([0-9a-f]{64})"')
PERSON_SEEN = SLOT_SEEN
OVER = re.compile(r'name="over" value="([0-9a-f]{64})"')


def test_of_two_leads_at_once_one_wins_and_the_other_is_told_with_both_values(site: Site) -> None:
    lead, other, path = site.signed_in("ines"), site.signed_in("ines"), "/desk/shop/fixture/vise-a"
    mine, yours = (form(site, "fixture", "vise-a", opening_nm=wide) for wide in ("88", "95"))
    seen = SEEN.search(look(other, path, yours))
    assert seen
    assert keep(lead, path, mine, "Measured.") == 303
    answer = other.send(path, **yours, do="keep", seen=seen[1], reason="Measured too.")
    assert answer.status_code == 409
    assert "Somebody else changed this while you looked at it" in read(answer)
    assert '<th scope="row" data-label="field">How wide it stands open for probing, in mm</th>' in read(
        answer
    )
    assert '<td data-label="counts now">88</td><td data-label="you typed">95</td>' in read(answer)
    assert kept(site, "fixture", "vise-a").opening_nm == 88_000_000
    assert len(entries(site, "fixture.changed")) == 1
    over = OVER.search(answer.get_data(as_text=True))
    assert over
    assert keep(other, path, {**yours, "over": over[1]}, "Measured again.") == 303
    assert kept(site, "fixture", "vise-a").opening_nm == 95_000_000


def test_what_a_change_rests_on_is_changed_meanwhile_and_it_is_looked_at_again(site: Site) -> None:
    lead, other, path = site.signed_in("ines"), site.signed_in("ines"), "/desk/shop/machine/mill-1"
    mine = form(site, "machine", "mill-1", latency_s="0.05")
    seen = SEEN.search(look(other, path, mine))
    assert seen
    probe = form(site, "probe", "probe-1", overtravel_side_nm="0.3")
    assert keep(lead, "/desk/shop/probe/probe-1", probe, "The stylus was changed.") == 303
    answer = other.send(path, **mine, do="keep", seen=seen[1], reason="Measured.")
    assert answer.status_code == 409
    assert "What this rests on was changed while you looked at it" in read(answer)
    assert 'name="latency_s" value="0.05"' in read(answer)
    assert 'value="Measured."' in read(answer)
    assert entries(site, "machine.changed") == []
    again = SEEN.search(answer.get_data(as_text=True))
    assert again
    assert other.send(path, **mine, do="keep", seen=again[1], reason="Measured.").status_code == 303
    assert kept(site, "machine", "mill-1").latency_s == 0.05


def free_vise(site: Site) -> None:
    """Let the shop have a vise that is bolted to no machine."""
    store = site.house.store
    with store.writing():
        value = {**(store.shop.item("fixture", "vise-a") or {}), "id": "vise-d", "name": "Vise D"}
        store.shop.put("fixture", "vise-d", value)
        store.shop.start_seating("vise-d-1", "vise-d", "2026-11-02T12:00:00.000Z", "Bolted down.")


def test_a_machine_that_comes_to_hang_on_it_meanwhile_is_looked_at_too(site: Site) -> None:
    lead, other, path = site.signed_in("ines"), site.signed_in("ines"), "/desk/shop/fixture/vise-d"
    free_vise(site)
    mine = form(site, "fixture", "vise-d", edge_break_nm="0.75")
    seen = SEEN.search(look(other, path, mine))
    assert seen
    moved = form(site, "machine", "mill-1", fixture="vise-d")
    assert keep(lead, "/desk/shop/machine/mill-1", moved, "Its own is being ground.") == 303
    answer = other.send(path, **mine, do="keep", seen=seen[1], reason="Broken anew.")
    assert answer.status_code == 409
    assert f"{kept(site, 'machine', 'mill-1').name}, the next setup sheet" in read(answer)
    assert entries(site, "fixture.changed") == []


def test_a_machine_is_not_kept_with_a_probe_that_was_taken_away_meanwhile(site: Site) -> None:
    other, store = site.signed_in("ines"), site.house.store
    free_vise(site)
    mine = {**form(site, "machine", "mill-1", name="Third mill", fixture="vise-d"), "over": ""}
    seen = SEEN.search(look(other, "/desk/shop/machine/new", mine))
    assert seen
    with store.writing():
        store.shop.retire("probe", "probe-1")
    answer = other.send("/desk/shop/machine/new", **mine, do="keep", seen=seen[1])
    assert answer.status_code == 422
    assert "There is no probe “probe-1” in use here" in read(answer)
    assert '<option value="">choose one</option>' in read(answer), "no other probe is chosen in its place"
    assert entries(site, "machine.added") == []


def test_what_was_taken_away_meanwhile_stays_in_the_form_and_can_be_added_anew(site: Site) -> None:
    other, store, path = site.signed_in("ines"), site.house.store, "/desk/shop/probe/probe-1"
    mine = form(site, "probe", "probe-1", serial="SN 4711")
    seen = SEEN.search(look(other, path, mine))
    assert seen
    with store.writing():
        store.shop.retire("probe", "probe-1")
    answer = other.send(path, **mine, do="keep", seen=seen[1], reason="Read off.")
    assert answer.status_code == 409
    assert "Somebody took it out of use while you looked at it" in read(answer)
    assert "SN 4711" in read(answer)
    assert 'action="/desk/shop/probe/new"' in read(answer)
    assert keep(other, "/desk/shop/probe/new", {**mine, "over": ""}, "") == 303
    assert [one["data"]["value"]["serial"] for one in entries(site, "probe.added")] == ["SN 4711"]


def test_what_was_typed_in_one_unit_is_read_in_no_other_once_the_machine_was_taken_away(site: Site) -> None:
    other, store, path = site.signed_in("ines"), site.house.store, "/desk/shop/machine/mill-1"
    mine = form(site, "machine", "mill-1") | {"unit": "in", "decimals": "4"}
    travel_nm = kept(site, "machine", "mill-1").travel_nm
    with store.writing():
        store.shop.retire("machine", "mill-1")
    answer = other.send(path, **mine, do="look")
    assert answer.status_code == 409
    for _ in range(2):
        unit = re.search(r'name="lengths_in" value="(mm|in)"', answer.get_data(as_text=True))
        assert unit, "the form goes on in the unit that it was typed in"
        again = {**mine, "over": "", "lengths_in": unit[1]}
        answer = other.send("/desk/shop/machine/new", **again, do="look")
        assert answer.status_code == 200, read(answer)
    assert keep(other, "/desk/shop/machine/new", again, "") == 303
    (added,) = entries(site, "machine.added")
    assert kept(site, "machine", added["subject"]).travel_nm == travel_nm


def test_a_new_item_that_is_pressed_twice_is_added_once_and_both_see_it(site: Site) -> None:
    lead = site.signed_in("ines")
    new = {**form(site, "probe", "probe-1", name="Second probe"), "over": ""}
    seen = SEEN.search(look(lead, "/desk/shop/probe/new", new))
    assert seen
    answers = [lead.send("/desk/shop/probe/new", **new, do="keep", seen=seen[1]) for _ in range(2)]
    assert [one.status_code for one in answers] == [303, 303]
    assert len({one.headers["Location"] for one in answers}) == 1
    assert [one["subject"] for one in entries(site, "probe.added")] == ["second-probe"]
    site.house.clock.forward(minutes=3)
    lead = site.signed_in("ines")
    assert keep(lead, "/desk/shop/probe/new", new, "") == 303
    assert len(entries(site, "probe.added")) == 2, "a like one on purpose, later"


def test_a_change_that_is_pressed_twice_is_made_once_and_both_see_it(site: Site) -> None:
    lead, path = site.signed_in("ines"), "/desk/shop/fixture/vise-a"
    there, back = (form(site, "fixture", "vise-a", opening_nm=wide) for wide in ("88", "90"))
    seen = SEEN.search(look(lead, path, there))
    assert seen
    sent = {**there, "do": "keep", "seen": seen[1], "reason": "Measured."}
    assert [lead.send(path, **sent).status_code for _ in range(2)] == [303, 303]
    assert len(entries(site, "fixture.changed")) == 1
    now = items.found(site.house.store, "fixture", "vise-a").version
    assert keep(lead, path, {**back, "over": now}, "It was the other vise.") == 303
    assert lead.send(path, **sent).status_code == 303, "the first value once more, on purpose"
    assert kept(site, "fixture", "vise-a").opening_nm == 88_000_000
    assert len(entries(site, "fixture.changed")) == 3


def test_of_two_leads_at_one_slot_the_second_is_told_whose_it_is(site: Site) -> None:
    lead, other, path = site.signed_in("ines"), site.signed_in("ines"), "/desk/slots/mill-1/G57"
    before = SLOT_SEEN.search(other.page(path))
    assert before
    assert lead.send(f"{path}/give", seen=before[1], person="ines").status_code == 303
    answer = other.send(f"{path}/give", seen=before[1], person="tomas", until="2027-01-31")
    assert answer.status_code == 422
    assert "G57 was changed while you looked: it is Ines Varga now" in read(answer)
    with site.house.store.reading():
        row = site.house.store.shop.slot("mill-1", "G57")
    assert row
    assert row["owner"] == "ines"


def test_of_two_leads_at_one_person_the_second_is_told(site: Site) -> None:
    lead, other, path = site.signed_in("ines"), site.signed_in("ines"), "/desk/people/mara"
    before = PERSON_SEEN.search(other.page(path))
    assert before
    sent = {"seen": before[1], "machine": "mill-1", "level": "alone"}
    assert lead.send(f"{path}/change_right", **sent, until="2027-02-28").status_code == 303
    answer = other.send(f"{path}/change_right", **sent, until="2027-05-31")
    assert answer.status_code == 422
    assert "Somebody else changed this while you looked at it" in read(answer)
    with site.house.store.reading():
        rights = site.house.store.people.running(["mara"])
    assert "2027-03-01T00:00:00.000Z" in {one["until_utc"] for one in rights}


def test_no_press_on_a_persons_page_ends_or_takes_a_slot_that_is_somebody_elses_meanwhile(site: Site) -> None:
    lead, other, store = site.signed_in("ines"), site.signed_in("ines"), site.house.store
    slots.give_slot(store, "mill-1", "G58", "ivo", None, "ines", site.house.clock())
    old = {action: fields(other.page("/desk/people/ivo"), action) for action in ("end_slot", "extend_slot")}
    ended = fields(lead.page("/desk/people/ivo"), "end_slot")
    assert lead.send("/desk/people/ivo/end_slot", **ended).status_code == 303
    answer = other.send("/desk/people/ivo/extend_slot", **{**old["extend_slot"], "until": "2027-01-31"})
    assert answer.status_code == 422, "an ended slot is not theirs again by a page from before"
    free = fields(lead.page("/desk/people/ivo"), "release_slot")
    assert lead.send("/desk/people/ivo/release_slot", **free).status_code == 303
    slots.give_slot(store, "mill-1", "G58", "ines", None, "ines", site.house.clock())
    answer = other.send("/desk/people/ivo/end_slot", **old["end_slot"])
    assert answer.status_code == 422
    assert "G58 was changed while you looked: it is Ines Varga now" in read(answer)
    with store.reading():
        row = store.shop.slot("mill-1", "G58")
    assert row
    assert (row["owner"], row["held_back"]) == ("ines", False)
