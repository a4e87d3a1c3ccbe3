"""Worries on the board, in the queue, on the sign-off page, and the page that closes one."""

from tests.services.test_worrying import raised
from tests.web.conftest import Site
from webapp.services.setups import worrying


def test_the_board_says_in_the_person_s_own_words_what_was_off(site: Site) -> None:
    raised(site.house, "hit_something", "probe", "The ball met the <jaw>.")
    page = site.browser().page("/")
    assert "Something was off" in page
    assert "The probe is stowed</p>" not in page
    assert "the probe or the ball hit something; not to be used before the lead has looked" in page
    assert "The ball met the &lt;jaw&gt;." in page


def test_a_lead_finds_it_first_in_the_queue_and_closes_it_with_words(site: Site) -> None:
    raised(site.house, "vise_loose", "vise", "A nut turned.")
    site.house.clock.forward(minutes=5)
    walk = raised(site.house, "fell", "probe", "On the floor.")
    lead = site.signed_in("ines")
    queue = lead.page("/desk")
    assert queue.index("On the floor.") < queue.index("A nut turned.") < queue.index("Questions")
    newest = worrying.open_worries(site.house.store)[0].row
    path = f"/desk/worries/{newest.event}"
    refused = lead.send(path, how="checked", reason="")
    assert refused.status_code == 422
    assert 'value="checked"' in refused.get_data(as_text=True)
    assert "checked" in lead.page(path)
    answer = lead.send(path, how="checked", reason="Ring check done.")
    assert answer.status_code == 303
    assert "Closed." in lead.page(answer.headers["Location"])
    assert "On the floor." not in lead.page("/desk")
    page = lead.page(f"/desk/setups/{walk.setup}/sign-off")
    assert "On the floor." in page
    assert "Ring check done." in page
    assert "A nut turned." in page  # still open, about the vise that this setup used


def test_nobody_but_a_lead_closes_one(site: Site) -> None:
    raised(site.house, "fell", "probe")
    (one,) = worrying.open_worries(site.house.store)
    assert site.signed_in("mara").get(f"/desk/worries/{one.row.event}").status_code == 403
    assert site.signed_in("ines").get("/desk/worries/unknown").status_code == 404
