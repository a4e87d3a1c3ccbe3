"""The sign-off page puts a setup's values to the lead apart from the setup,
with the lines before and after.
"""

import re

from tests.kit.shop import CENTRES_NM, PASSPHRASES, PINS
from tests.kit.walk import Walk
from tests.web.conftest import Site
from webapp.services.setups import stored_setups
from webapp.services.sheets.preparing import usuals

BAD_NM = CENTRES_NM["X"] - 749_000


def bad(site: Site) -> Walk:
    """A second setup of a known vise, far off in X, seen and allowed."""
    site.house.signed_off()
    walk = site.house.walk()
    walk.values_nm["X"] = BAD_NM
    walk.start().until("compare", "X")
    touch = walk.fold.result()["touches"][-1]
    read = {name: touch[name] for name in ("axis", "typed", "value_nm", "verdict", "difference_nm")}  # type: ignore[literal-required]
    walk.event("touch.read_again", read, walk.step["id"])
    walk.question(1, "X")
    site.house.accept(walk.parts)
    site.house.answer_all("Seen.")
    with site.house.store.reading():
        for decision in stored_setups.decisions_of(site.house.store, walk.setup):
            walk.fold.decide(decision)
    walk.until("sign").sign(PINS["mara"], site.house.keyring)
    site.house.accept(walk.parts)
    return walk


def words(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_the_page_shows_the_lines_with_a_value_and_without_and_ticks_nothing(site: Site) -> None:
    walk = bad(site)
    page = site.signed_in("ines").page(f"/desk/setups/{walk.setup}/sign-off")
    text = words(page)
    assert "Beyond the ask line: X" in text
    assert "X −381.999 stays out −381.250" in text
    assert "X −381.999 is let in −381.624" in text
    assert re.findall(r'name="let_in" value="(\w)"( checked)?', page) == [("X", "")]
    assert 'name="moved"' in page
    assert "Y, Z lie within the ask line and become part of the usual" in text


def test_signed_off_without_a_tick_the_lines_stay_and_the_setup_s_page_says_so(site: Site) -> None:
    walk = bad(site)
    before, lead = usuals(site.house.store, "mill-1")["X"], site.signed_in("ines")
    path = f"/desk/setups/{walk.setup}"
    assert lead.decide(f"{path}/sign-off", passphrase=PASSPHRASES["ines"]).status_code == 303
    assert usuals(site.house.store, "mill-1")["X"] == before
    assert "Let into the usual: Y, Z; stayed out of it: X." in words(lead.page(path))


def test_what_was_ticked_and_typed_is_still_there_after_a_refusal_and_then_counts(site: Site) -> None:
    walk = bad(site)
    lead = site.signed_in("ines")
    path = f"/desk/setups/{walk.setup}/sign-off"
    typed = {"let_in": "X", "moved": "y", "moved_reason": "Hit by a cart.", "note": "Looked at."}
    answer = lead.decide(path, passphrase="not the passphrase", **typed)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert re.search(r'name="let_in"\s+value="X"\s+checked', page)
    assert re.search(r'<input checked[^>]* name="moved"', page)
    assert "Hit by a cart." in page
    refused = lead.decide(path, passphrase=PASSPHRASES["ines"], **{**typed, "moved_reason": ""})
    assert "Say what was done to the vise" in refused.get_data(as_text=True)
    assert lead.decide(path, passphrase=PASSPHRASES["ines"], **typed).status_code == 303
    now = usuals(site.house.store, "mill-1")["X"]
    assert (now.centre_nm, now.n_values) == (BAD_NM, 1)
    with site.house.store.reading():
        assert site.house.store.shop.seatings("vise-a")[-1]["reason"] == "Hit by a cart."


def test_an_axis_that_is_not_beyond_cannot_be_let_in_by_a_made_up_form(site: Site) -> None:
    walk = bad(site)
    lead = site.signed_in("ines")
    answer = lead.decide(f"/desk/setups/{walk.setup}/sign-off", let_in="Z", passphrase=PASSPHRASES["ines"])
    assert answer.status_code == 422


def test_the_first_setup_at_a_vise_is_one_question_within_its_sign_off(site: Site) -> None:
    walk = site.house.signed()
    lead = site.signed_in("ines")
    assert "No open questions." in lead.page("/desk")
    path = f"/desk/setups/{walk.setup}/sign-off"
    text = words(lead.page(path))
    assert "First values at this vise: X, Y, Z" in text
    assert "Beyond the ask line" not in text
    assert lead.decide(path, first_values="leave", passphrase=PASSPHRASES["ines"]).status_code == 303
    assert usuals(site.house.store, "mill-1")["X"].centre_nm is None
