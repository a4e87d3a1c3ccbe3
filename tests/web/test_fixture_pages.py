"""The pages about fixtures: trends, when a difference matters,
a new seating, a value left out and taken back.
"""

from __future__ import annotations

import random
import re
from collections.abc import Sequence

import pytest

from tests.kit.past import keep_past
from tests.kit.shop import CENTRES_NM
from tests.web.conftest import Site
from webapp.domain.evidence.events import SHORT_ID
from webapp.services.numbers import seatings
from webapp.services.numbers.seatings import seating_id
from webapp.web.show.charting import MOST_KEPT

TRENDS, MATTERS = "/desk/fixtures/vise-a/X", "/desk/fixtures/vise-a/X/matters"


def scattered(count: int, spread: float = 6) -> list[int]:
    chance = random.Random(23)
    return [CENTRES_NM["X"] + round(chance.gauss(0, spread)) * 1000 for _ in range(count)]


def keep(site: Site, values: Sequence[int] | None = None) -> list[str]:
    return keep_past(site.house, scattered(30, 12) if values is None else values)


def lines_now(site: Site) -> tuple[int, int] | None:
    with site.house.store.reading():
        own = site.house.store.shop.choice("vise-a", "X")
    return (own["ask_one_in"], own["stop_one_in"]) if own else None


def test_the_way_to_the_trends_leads_over_the_rule_and_the_overview(site: Site) -> None:
    keep(site)
    lead = site.signed_in("ines")
    assert 'href="/desk/fixtures"' in lead.page("/desk")
    overview = lead.page("/desk/fixtures")
    assert TRENDS in overview
    assert MATTERS in overview
    assert "−381.2" in overview


def test_the_trends_page_says_in_words_and_in_a_table_what_its_chart_shows(site: Site) -> None:
    ids = keep(site)
    page = site.signed_in("ines").page(TRENDS)
    assert page.count('class="chart wide"') == page.count('class="chart narrow"') == 1
    figure = page[page.index("<figure") : page.index("</figure>")]
    table = page[page.index('id="values"') :]
    for setup in ids:
        assert f"/desk/setups/{setup}" in figure
        assert f"/desk/setups/{setup}" in table
    assert "The usual is" in page
    assert " style=" not in page
    assert "<script" not in page


def test_a_signal_is_explained_with_its_setups_since_when_how_far_and_the_ask_rate(site: Site) -> None:
    values = scattered(40)
    keep(site, [value + (90_000 if place >= 30 else 0) for place, value in enumerate(values)])
    page = site.signed_in("ines").page(TRENDS)
    signals = page[page.index('class="signals"') : page.index("Chart</h2>")]
    assert "Setup 31" in signals
    assert "+0.09" in signals or "+0.08" in signals
    assert "asked about in" in signals
    assert "since 2020-" in signals
    overview = site.signed_in("odo").page("/desk/fixtures")
    assert f"{TRENDS}#signals" in overview


def test_a_suspect_that_the_overview_counts_is_listed_however_many_values_came_after_it(site: Site) -> None:
    values = scattered(301)
    values[0] += 900_000
    ids = keep(site, values)
    lead = site.signed_in("ines")
    assert f"{TRENDS}#suspects" in lead.page("/desk/fixtures")
    for start in (0, 300):
        page = lead.page(f"{TRENDS}?start={start}")
        suspects = page[page.index('id="suspects"') : page.index("Chart</h2>")]
        assert "Setup 1 of" in " ".join(suspects.split())
        assert f"{TRENDS}/values/{ids[0]}" in suspects


def test_the_oldest_page_is_about_its_whole_seating_even_with_one_value_or_none_that_counts(
    site: Site,
) -> None:
    ids = keep(site, scattered(51))
    lead = site.signed_in("ines")
    page = lead.page(f"{TRENDS}?start=50")
    assert "<figure" in page
    assert "Values 51 to 51 of 51" in page
    assert "one value so far" not in page
    assert "A chart needs" not in page
    assert "The running average" in page
    assert "The largest step" not in page
    seatings.leave_out(site.house.store, ids[0], "X", "A chip.", "ines", site.house.clock())
    page = lead.page(f"{TRENDS}?start=50")
    assert "counted nowhere here: 1" in page
    assert "A chart needs" not in page


def test_seatings_can_be_filtered_and_are_never_mixed(site: Site) -> None:
    keep(site, scattered(12))
    lead = site.signed_in("ines")
    assert lead.send("/desk/fixtures/vise-a/seating", reason="Vise moved, re-trammed.").status_code == 303
    with site.house.store.reading():
        new = site.house.store.shop.seating_now("vise-a")
    assert new is not None
    assert new["reason"] == "Vise moved, re-trammed."
    keep_past(site.house, [value + 80_000 for value in scattered(7)], seating=new["id"], first=101)
    assert "Values 1 to 7 of 7" in lead.page(TRENDS)
    assert "Values 1 to 12 of 12" in lead.page(f"{TRENDS}?seating=vise-a-1")
    every = lead.page(f"{TRENDS}?seating=all")
    assert "Values 1 to 19 of 19" in every
    # The move of 0.08 mm lies between two seatings and is nobody's signal.
    assert "+0.08" not in every[: every.index("<figure")]


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ([], "no value to show"),
        ([0], "There is one value so far."),
        ([0, 1, 2], "There are 3 values in this seating. A chart needs at least 5."),
        ([0] * 8, "All values of this seating are the same"),
    ],
)
def test_few_or_equal_values_are_said_to_be_that_and_break_no_page(
    site: Site, values: list[int], said: str
) -> None:
    keep(site, [CENTRES_NM["X"] + 1000 * value for value in values])
    lead = site.signed_in("ines")
    assert said in lead.page(TRENDS)
    page = lead.page(MATTERS)
    assert ("Here a difference of" in page) == bool(values)
    lead.page("/desk/fixtures")
    lead.page("/desk/fixtures/vise-a/seating")


def test_values_of_one_person_alone_are_said_to_be_that(site: Site) -> None:
    keep_past(site.house, scattered(9), people=["mara"])
    assert "All of these values come from one person" in site.signed_in("ines").page(TRENDS)


def test_a_long_past_comes_a_page_at_a_time(site: Site) -> None:
    keep(site, scattered(450))
    lead = site.signed_in("ines")
    first = lead.page(TRENDS)
    assert "Values 1 to 50 of 450" in first
    assert "the usual and its lines about all 450" in first
    assert "Older" in first
    last = lead.page(f"{TRENDS}?start=400")
    assert "Values 401 to 450 of 450" in last
    assert "Newer" in last
    for odd in ("start=9999", "start=-1", "start=x"):
        assert "Values 1 to 50 of 450" in lead.page(f"{TRENDS}?{odd}")


@pytest.mark.parametrize(
    "path",
    [
        "/desk/fixtures/vise-z/X", "/desk/fixtures/vise-a/W", "/desk/fixtures/vise-a/X?seating=nowhere",
        "/desk/fixtures/vise-z/X/matters", "/desk/fixtures/vise-z/seating",
        "/desk/fixtures/vise-a/X/values/00000000-0000-0000-0000-0000000000aa",
    ],
)  # fmt: skip
def test_what_is_not_there_is_answered_so(site: Site, path: str) -> None:
    assert site.signed_in("ines").get(path).status_code == 404


def test_a_value_is_left_out_with_a_reason_and_taken_back_with_another(site: Site) -> None:
    values = scattered(20)
    values[7] = CENTRES_NM["X"] + 300_000
    ids = keep(site, values)
    lead = site.signed_in("ines")
    assert "farther from the others than chance explains" in lead.page(TRENDS)
    path = f"{TRENDS}/values/{ids[7]}"
    page = lead.page(path)
    assert "Leave a value out" in page
    assert "suspect by Grubbs" in page
    refused = lead.send(path, do="leave_out", reason=" ")
    assert refused.status_code == 422
    assert lead.send(path, do="destroy", reason="Because.").status_code == 422
    assert lead.send(path, do="leave_out", reason="A chip under the ball.").status_code == 303
    after = lead.page(f"{TRENDS}?done=leave_out")
    assert "A chip under the ball." in after
    assert "Left out by the lead and counted nowhere here: 1." in after
    assert 'class="point left_out' in after
    assert "Take a value back" in lead.page(path)
    assert lead.send(path, do="take_in", reason="The jaw was clean after all.").status_code == 303
    assert 'class="point left_out' not in lead.page(TRENDS)
    ledger = lead.page("/audit")
    assert "value.left_out" in ledger
    assert "value.taken_in" in ledger


def moved_site(site: Site) -> list[str]:
    """A vise that was moved by 0.3 mm before the last three setups, after its seating had begun."""
    values = [*scattered(12), *(value + 300_000 for value in scattered(15)[12:])]
    with site.house.store.reading():
        began = site.house.store.shop.seating_now("vise-a")
    assert began is not None
    return keep_past(site.house, values, first=30_000)


def test_values_that_moved_together_are_offered_as_one_move_and_taken_with_one_press(site: Site) -> None:
    ids = moved_site(site)
    lead = site.signed_in("ines")
    page = lead.page(TRENDS)
    assert "The last 3 values lie together, +0.3" in page
    assert "Was the fixture moved before setup 13?" in page
    offer = page[page.index('id="moved"') : page.index("Look at it first")]
    assert offer.count('<tr><th scope="row"') == 2
    reason = re.search(r'name="reason" value="([^"]+)"', offer)
    assert reason
    back = f"{TRENDS}/back/{ids[12]}"
    assert back in offer
    assert "Begin a new seating at setup 13" in lead.page(back)
    assert lead.send(back, reason=reason[1]).status_code == 303
    after = lead.page(TRENDS)
    assert "Was it moved?" not in after
    assert "Values 1 to 3 of 3" in after
    assert "Was it moved?" not in site.signed_in("odo").page(f"{TRENDS}?seating=vise-a-1")


def test_only_a_lead_is_given_the_press_and_a_reason_is_asked_for(site: Site) -> None:
    ids = moved_site(site)
    read = site.signed_in("odo").page(TRENDS)
    assert "Was the fixture moved before setup 13?" in read
    assert "Look at it first" not in read
    lead = site.signed_in("ines")
    assert lead.send(f"{TRENDS}/back/{ids[12]}", reason="").status_code == 422
    assert lead.send(f"{TRENDS}/back/{ids[0]}", reason="Moved.").status_code in {404, 422}


def test_a_new_seating_that_is_sent_twice_is_started_once_and_the_second_is_told(site: Site) -> None:
    lead = site.signed_in("ines")
    for _ in range(2):
        answer = lead.send("/desk/fixtures/vise-a/seating", reason="Vise moved, re-trammed.")
    text = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "Nothing was started a second time" in text
    assert "Vise moved, re-trammed." in text
    with site.house.store.reading():
        assert len(site.house.store.shop.seatings("vise-a")) == 2
    site.house.clock.forward(seconds=61)
    assert lead.send("/desk/fixtures/vise-a/seating", reason="Moved once more.").status_code == 303


def test_two_fixtures_whose_names_begin_alike_get_seatings_of_their_own_in_one_second(site: Site) -> None:
    names = [f"double-width-precision-vise-{end}" for end in ("left", "right")]
    now = site.house.clock()
    ids = {seating_id(name, now, f"token {place}") for place, name in enumerate(names)}
    assert len(ids) == 2
    assert all(SHORT_ID.passes(one) for one in ids)


def test_a_new_seating_needs_a_reason(site: Site) -> None:
    lead = site.signed_in("ines")
    answer = lead.send("/desk/fixtures/vise-a/seating", reason="")
    assert answer.status_code == 422
    assert "Say what was done" in answer.get_data(as_text=True)
    with site.house.store.reading():
        assert len(site.house.store.shop.seatings("vise-a")) == 1


def test_a_choice_is_looked_at_by_its_address_and_shows_the_touches_it_asks_about(site: Site) -> None:
    keep(site)
    lead = site.signed_in("ines")
    now = lead.page(MATTERS)
    assert "Here a difference of" in now
    assert "None of the 30 touches" in now
    assert "Save this choice" not in now
    looked = lead.page(f"{MATTERS}?ask=3&stop=20&ceiling=0.4&factor=1")
    assert "You are looking at a choice that is not saved." in looked
    assert re.search(r"[1-9][0-9]* of 30 touches of this seating", looked)
    assert "Save this choice" in looked
    assert lines_now(site) is None


def test_a_choice_is_saved_with_a_reason_and_holds_from_then_on(site: Site) -> None:
    keep(site)
    lead = site.signed_in("ines")
    choice = {"ask": "99.5 %", "stop": "2000", "ceiling": "0.4", "factor": ""}
    refused = lead.send(MATTERS, **choice, reason="")
    assert refused.status_code == 422
    assert "Say why" in refused.get_data(as_text=True)
    assert lines_now(site) is None
    assert lead.send(MATTERS, **choice, reason="Too many asks.").status_code == 303
    assert lines_now(site) == (200, 2000)
    page = lead.page(f"{MATTERS}?done=saved")
    assert "Saved." in page
    assert "chosen for this axis alone" in page
    assert "limit.changed" in lead.page("/audit")
    again = lead.send(MATTERS, **{**choice, "ask": "200"}, reason="Once more.")
    assert again.status_code == 422
    assert "holds already" in again.get_data(as_text=True)
    shops = lead.send(MATTERS, ask="100", stop="1000", ceiling="0.500", factor="", reason="As all others.")
    assert shops.status_code == 303
    assert lines_now(site) is None


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("ask=1&stop=1000", "One in 1 cannot be worked with."),
        ("ask=0&stop=1000", "One in 0 cannot be worked with."),
        ("ask=0 %25&stop=1000", "at 0 % every touch would be asked about, at 100 % none"),
        ("ask=100 %25&stop=1000", "at 0 % every touch would be asked about, at 100 % none"),
        ("ask=1000&stop=100", "A stop has to be rarer"),
        ("ask=often&stop=1000", "“often” is no choice."),
        ("ask=100&stop=1000&ceiling=0", "It has to lie above zero"),
        ("ask=100&stop=1000&ceiling=half", "which is not part of a number"),
        ("ask=100&stop=1000&factor=0", "“0” is no coverage factor."),
        ("ask=<b>&stop=%00", "“&lt;b&gt;” is no choice."),
    ],
)
def test_what_is_no_choice_is_refused_with_words_looked_at_or_saved(
    site: Site, typed: str, said: str
) -> None:
    keep(site)
    lead = site.signed_in("ines")
    looked = lead.page(f"{MATTERS}?{typed}")
    assert said in looked
    assert "This is no choice yet." in looked
    assert "Save this choice" not in looked
    fields = dict(pair.replace("%25", "%").split("=") for pair in typed.split("&"))
    sent = {"ceiling": "0.5", "factor": "", **fields, "reason": "Because."}
    answer = lead.send(MATTERS, **sent)
    assert answer.status_code == 422
    assert said in answer.get_data(as_text=True)
    assert lines_now(site) is None


def test_the_auditor_reads_and_is_offered_no_change(site: Site) -> None:
    ids = keep(site)
    auditor = site.signed_in("odo")
    for page in (
        auditor.page(TRENDS),
        auditor.page(f"{MATTERS}?ask=3&stop=20"),
        auditor.page("/desk/fixtures"),
    ):
        assert "Leave out" not in page
        assert "Save this choice" not in page
        assert "Start a new seating" not in page
    assert auditor.send(MATTERS, ask="3", stop="20", ceiling="0.5", factor="", reason="x").status_code == 403
    assert auditor.send(f"{TRENDS}/values/{ids[0]}", do="leave_out", reason="x").status_code == 403


def test_an_inch_machine_has_its_pages_in_inches(site: Site) -> None:
    values = [-254_000 * 1000 + 2540 * step for step in (0, 1, -1, 2, 0, 1, -2, 0)]
    keep_past(site.house, values, fixture="vise-b", machine="mill-2", seating="vise-b-1")
    lead = site.signed_in("ines")
    page = lead.page("/desk/fixtures/vise-b/X")
    assert "value, in<" in page
    assert "−10.000" in page
    shown = re.search(r'name="ceiling"[^>]*value="([^"]+)"', lead.page("/desk/fixtures/vise-b/X/matters"))
    assert shown is not None
    looked_at = "/desk/fixtures/vise-b/X/matters?ask=100&stop=1000&factor=&ceiling="
    assert "is not saved" not in lead.page(looked_at + shown[1])
    assert "is not saved" in lead.page(looked_at + "0.018")


def test_charts_are_drawn_once_for_the_same_content_and_anew_for_another(site: Site) -> None:
    ids = keep(site)
    lead = site.signed_in("ines")

    def chart() -> str:
        page = lead.page(TRENDS)
        return page[page.index("<figure") : page.index("</figure>")]

    first = chart()
    assert chart() == first
    assert lead.send(f"{TRENDS}/values/{ids[3]}", do="leave_out", reason="A chip.").status_code == 303
    assert chart() != first
    assert lead.send(f"{TRENDS}/values/{ids[3]}", do="take_in", reason="No chip.").status_code == 303
    assert chart() == first
    assert MOST_KEPT > 1
