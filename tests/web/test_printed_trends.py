"""A fixture's trends on paper:
one PDF, each axis with its chart as vectors, its words and its newest values.
"""

from __future__ import annotations

import io
import json

from pypdf import PdfReader

from tests.kit.past import keep_past
from tests.kit.shop import CENTRES_NM
from tests.web.conftest import Site
from webapp.services.numbers.seatings import leave_out

STEPS = [0, 3, -2, 1, 4, -3, 0, 2, -1, 28, 1, -2, 0, 3, 60, 63, 58, 61]


def printed(site: Site) -> PdfReader:
    answer = site.signed_in("ines").get("/desk/fixtures/vise-a/trends.pdf")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    assert answer.content_type == "application/pdf"
    return PdfReader(io.BytesIO(answer.data))


def test_every_axis_has_its_words_its_values_and_its_chart(site: Site) -> None:
    past = keep_past(site.house, [CENTRES_NM["X"] + 1000 * step for step in STEPS])
    leave_out(site.house.store, past[9], "X", "A chip under the ball.", "ines", site.house.clock())
    pages = printed(site).pages
    texts = [" ".join(page.extract_text().split()) for page in pages]
    x, rest = texts[0], " ".join(texts)
    assert "X of Vise A" in x
    assert "ask line" in x
    assert "stop line" in x
    assert "The newest 18 of 18 values" in rest
    assert "left out: A chip under the ball." in rest
    assert "Y of Vise A" in rest
    assert "Z of Vise A" in rest
    assert rest.count("This is no record") == 1
    drawn = pages[0].get_contents()
    assert drawn is not None
    strokes = drawn.get_data().count(b" l\n") + drawn.get_data().count(b" c\n")
    assert strokes > 100, "the chart is drawn as lines and curves"
    assert not [one for page in pages for one in page.images], "nothing of it is a picture of dots"
    assert "/URI" not in rest
    assert all("/Annots" not in page for page in pages), "a printed point leads nowhere"


def test_the_same_moment_prints_the_same_bytes(site: Site) -> None:
    keep_past(site.house, [CENTRES_NM["X"] + 1000 * step for step in STEPS])
    lead = site.signed_in("ines")
    first, second = (lead.get("/desk/fixtures/vise-a/trends.pdf").data for _ in range(2))
    assert first == second


def test_who_took_a_copy_stands_on_the_ledger_once_for_each_that_shows_something_else(site: Site) -> None:
    past = keep_past(site.house, [CENTRES_NM["X"] + 1000 * step for step in STEPS])
    auditor, path = site.signed_in("odo"), "/desk/fixtures/vise-a/trends.pdf"
    for _ in range(2):
        assert auditor.get(path).status_code == 200
        site.house.clock.forward(minutes=1)
    assert auditor.get("/desk/fixtures/nothing/trends.pdf").status_code == 404
    leave_out(site.house.store, past[9], "X", "A chip under the ball.", "ines", site.house.clock())
    assert auditor.get(path).status_code == 200
    with site.house.store.reading():
        told = site.house.store.ledger.changes(kind="trends.printed")
    assert [(row["by"], row["subject"]) for row in told] == [("odo", "vise-a")] * 2
    first, second = (json.loads(row["text"])["data"] for row in told)
    assert first.keys() == {"seating", "shown_sha256"}
    assert first["shown_sha256"] != second["shown_sha256"]


def test_an_axis_without_a_value_says_so_and_an_unknown_fixture_is_not_there(site: Site) -> None:
    text = " ".join(page.extract_text() for page in printed(site).pages)
    assert "No value has been kept yet." in text
    assert site.signed_in("ines").get("/desk/fixtures/nothing/trends.pdf").status_code == 404


def test_the_trends_page_leads_to_the_printed_one_with_its_seating(site: Site) -> None:
    page = site.signed_in("ines").page("/desk/fixtures/vise-a/X?seating=all")
    assert 'href="/desk/fixtures/vise-a/trends.pdf?seating=all">Print all axes (PDF)</a>' in page
