"""Answers that fit the question: about an axis or a whole setup, running or finished; and what they do."""

import re

from tests.services.test_to_redo import finished
from tests.web.conftest import Site


def offered(page: str) -> list[str]:
    return re.findall(r'name="decision"[^>]* value="(\w+)"', page)


def test_each_question_is_offered_its_own_answers_and_keeps_what_was_typed(site: Site) -> None:
    running = site.house.walk().start()
    about_axis, about_all = running.question(1, "X"), running.question(2, None)
    site.house.accept(running.parts)
    lead = site.signed_in("ines")
    assert offered(lead.page(f"/desk/questions/{about_axis}")) == ["go_on", "touch_again", "break_off"]
    page = lead.page(f"/desk/questions/{about_all}")
    assert offered(page) == ["go_on", "break_off"]
    assert "End this setup: put the probe away" in page
    refused = lead.send(f"/desk/questions/{about_all}", decision="touch_again", reason="Words of mine.")
    assert refused.status_code == 422
    assert "Words of mine." in refused.get_data(as_text=True)


def test_an_answer_after_the_end_marks_the_slot_on_the_board_and_on_the_setup_s_pages(site: Site) -> None:
    walk, question = finished(site.house, "X")
    lead = site.signed_in("ines")
    path = f"/desk/questions/{question}"
    page = lead.page(path)
    assert offered(page) == ["go_on", "touch_again"]
    assert "Touch it again, in a new setup" in page
    assert lead.send(path, decision="touch_again", reason="Wipe the jaw.").status_code == 303
    assert "Slot G54 is to be set again, X at least: run no program with it" in site.browser().page("/")
    assert "To be done again" in lead.page(f"/desk/setups/{walk.setup}")
    assert "Signing it off takes that back." in lead.page(f"/desk/setups/{walk.setup}/sign-off")


def test_a_finished_setup_as_a_whole_can_be_asked_for_again(site: Site) -> None:
    _, question = finished(site.house, None)
    page = site.signed_in("ines").page(f"/desk/questions/{question}")
    assert offered(page) == ["go_on", "redo"]
    assert "Do the whole setup again" in page
