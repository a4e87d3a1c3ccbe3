"""Procedures at the desk, pressed as a lead without scripts presses them."""

from __future__ import annotations

import io
import re

from werkzeug.test import TestResponse

from tests.kit.pictures import jpeg, tagged_jpeg
from tests.services.test_procedures import published
from tests.web.conftest import Browser, Site, read
from webapp.services.shop import procedures

HERE = "/desk/procedures/shop"


def seen(page: str) -> str:
    found = re.search(r'name="seen" (?:type="hidden" )?value="([0-9a-f]{64})"', page)
    assert found
    return found[1]


def digest(page: str) -> str:
    found = re.search(r'name="looked" type="hidden" value="([0-9a-f]{64})"', page)
    assert found
    return found[1]


def begun(site: Site) -> tuple[Browser, str]:
    lead = site.signed_in("ines")
    assert lead.send(f"{HERE}/draft").headers["Location"] == HERE
    return lead, seen(lead.page(HERE))


def fields_of(page: str) -> dict[str, str]:
    """What the form of a step would send as it stands, boxes aside."""
    found = dict(re.findall(r'<textarea id="[^"]+" name="([^"]+)"[^>]*>(.*?)</textarea>', page))
    found |= dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page))
    found |= dict(re.findall(r'<input id="[^"]+" name="([^"]+)" value="([^"]*)"', page))
    return {name: value.replace("&#39;", "'") for name, value in found.items() if name != "csrf_token"}


def test_a_step_is_moved_changed_and_published_with_what_changed(site: Site) -> None:
    lead, draft = begun(site)
    moved = lead.send(f"{HERE}/act", act="down", step="ready.stop", seen=draft, at="ready-stop")
    assert moved.headers["Location"] == f"{HERE}#ready-stop"
    page = lead.page(HERE)
    assert page.index("ready.probe") < page.index("ready.stop")
    step = f"{HERE}/steps/vise.wipe"
    typed = {**fields_of(lead.page(step)), "do": "Wipe the jaw.", "kind": "confirm", "hands": "y"}
    assert lead.send(step, **typed).status_code == 303
    page = lead.page(HERE)
    assert "becomes “Wipe the jaw.”" in page
    assert page.count("<li>“vise.wipe”") == 1, "nothing else of the step changed"
    before = procedures.used(site.house.store, "shop").hash
    looked = lead.send(f"{HERE}/publish", do="look", seen=seen(page), note="Plainer.")
    assert looked.status_code == 200
    shown = read(looked)
    assert "nothing is published yet" in shown
    assert "next setup sheet of Plover, Dunlin" in shown
    assert "Plainer.</textarea>" in shown
    assert procedures.used(site.house.store, "shop").hash == before
    answer = lead.send(
        f"{HERE}/publish", do="publish", seen=seen(shown), looked=digest(shown), note="Plainer."
    )
    assert answer.headers["Location"] == "/desk/procedures?done=published"
    assert "Plainer." in lead.page("/desk/procedures")
    preview = lead.page(f"{HERE}/preview?machine=mill-1")
    assert "Wipe the jaw." in preview
    assert preview.count("Offers a picture:") == 2


def test_a_second_tab_is_told_and_keeps_what_was_typed_beside_the_draft_of_now(site: Site) -> None:
    lead, draft = begun(site)
    step = f"{HERE}/steps/vise.wipe"
    typed = {**fields_of(lead.page(step)), "why": "Words of mine.", "seen": draft}
    other = site.signed_in("tomas")
    other.send(step, **{**typed, "why": "Words of theirs."})
    answer = lead.send(step, **typed)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "Tomas" in page
    assert "Words of mine.</textarea>" in page
    assert "Words of theirs." in page


def test_the_words_for_a_step_come_back_where_its_draft_was_thrown_away_meanwhile(site: Site) -> None:
    lead, draft = begun(site)
    step = f"{HERE}/steps/vise.wipe"
    typed = {**fields_of(lead.page(step)), "why": "Words of mine."}
    out = site.signed_in("tomas").send(f"{HERE}/act", act="out", step="vise.wipe", seen=draft)
    assert out.status_code == 303
    no_step = lead.send(step, **typed)
    lead.send(f"{HERE}/discard", seen=seen(lead.page(HERE)))
    for answer, why in (
        (no_step, "There is no step"),
        (lead.send(step, **typed), "There is no draft any more"),
    ):
        assert answer.status_code == 409
        page = read(answer)
        assert why in page
        assert "<dt>Why</dt><dd>Words of mine.</dd>" in page
        assert draft not in page
    assert lead.get(step).status_code == 404


def test_a_draft_without_the_stow_is_refused_with_the_reason_and_its_note_stays(site: Site) -> None:
    lead, draft = begun(site)
    lead.send(f"{HERE}/act", act="out", step="stow.away", seen=draft)
    page = lead.page(HERE)
    assert "No step puts the probe away." in page
    answer = lead.send(f"{HERE}/publish", seen=seen(page), note="Shorter by one.")
    assert answer.status_code == 422
    assert "Shorter by one.</textarea>" in answer.get_data(as_text=True)
    assert "A tablet could not show this yet" in lead.page(f"{HERE}/preview")
    assert procedures.past_revisions(site.house.store)[0].note == ""


def test_a_text_too_long_and_a_name_that_is_taken_are_told(site: Site) -> None:
    lead, draft = begun(site)
    step = f"{HERE}/steps/vise.wipe"
    typed = {"look_for": "Words of mine.", "why": "long " * 200, "level": "beside"}
    long = read(lead.send(step, **{**fields_of(lead.page(step)), **typed}))
    assert "600 are the most" in long
    assert "What you typed is still here." in long
    assert "Words of mine.</textarea>" in long
    assert f"{typed['why'].strip()}</textarea>" in long
    assert '<option value="beside" selected>' in long
    taken = lead.send(f"{HERE}/act", act="add", stage="vise", name="wipe", kind="confirm", seen=draft)
    assert taken.status_code == 422
    assert "the name is taken" in taken.get_data(as_text=True)


def test_what_a_picture_shows_is_typed_at_a_step_and_refused_where_the_machine_moves(site: Site) -> None:
    lead, _ = begun(site)
    wipe, load = f"{HERE}/steps/vise.wipe", f"{HERE}/steps/probe.load"
    page = lead.page(wipe)
    assert fields_of(page)["photo"] == "The vise as found"
    typed = {**fields_of(page), "kind": "confirm", "hands": "y", "photo": ""}
    assert lead.send(wipe, **typed).status_code == 303
    page = lead.page(HERE)
    assert page.count("· offers a picture") == 1
    typed = {**fields_of(lead.page(load)), "kind": "tool_in", "photo": "The probe"}
    assert lead.send(load, **typed).status_code == 303
    assert "cannot offer a picture: the machine moves there" in lead.page(load)


def test_for_whom_a_step_stands_and_who_must_be_there_is_chosen_and_refused_where_all_need_it(
    site: Site,
) -> None:
    lead, _ = begun(site)
    bare, copy = f"{HERE}/steps/vise.bare", f"{HERE}/steps/copy.values"
    typed = {**fields_of(lead.page(bare)), "kind": "confirm", "hands": "y"}
    assert lead.send(bare, **typed, level="beside", there="lead").status_code == 303
    page = " ".join(lead.page(HERE).split())
    assert "for who sets up with a lead beside" in page
    assert "with a lead there" in page
    assert '<option value="lead" selected>' in lead.page(bare)
    preview = " ".join(lead.page(f"{HERE}/preview").split())
    assert "For who sets up with a lead beside. Asks who is there: a lead." in preview
    typed = {**fields_of(lead.page(copy)), "kind": "copy", "level": "alone"}
    assert lead.send(copy, **typed).status_code == 303
    assert "has to stand for everybody" in lead.page(copy)
    refused = lead.send(f"{HERE}/publish", do="look", seen=seen(lead.page(HERE)), note="Less.")
    assert refused.status_code == 422
    assert "has to stand for everybody" in read(refused)


def test_an_auditor_reads_the_steps_and_the_preview_and_finds_no_form(site: Site) -> None:
    reader = site.signed_in("odo")
    page = reader.page(HERE)
    assert "Begin a draft" not in page
    assert "feed hold" in reader.page(f"{HERE}/preview")
    assert reader.get("/desk/procedures/vise-nowhere").status_code == 404


def test_a_step_that_always_has_to_stand_is_offered_no_condition(site: Site) -> None:
    lead, draft = begun(site)
    for step in ("slot.own", "ready.stop", "x.search"):
        page = lead.page(f"{HERE}/steps/{step}")
        assert "It stands at every machine" in page
        assert 'name="when"' not in page
    free = f"{HERE}/steps/vise.wipe"
    assert 'name="when"' in lead.page(free)
    typed = {**fields_of(lead.page(f"{HERE}/steps/slot.own")), "kind": "slot", "when": "warm_up"}
    assert lead.send(f"{HERE}/steps/slot.own", **{**typed, "seen": draft}).status_code == 303
    assert "stands only under “warm_up”" in lead.page(HERE)
    page = lead.page(f"{HERE}/steps/slot.own")
    offered = page.partition('name="when"')[2].partition("</select>")[0]
    assert offered.count("<option") == 2, "always, and what it has now"


def test_what_falls_away_at_a_machine_is_said_with_its_name_before_and_at_publishing(site: Site) -> None:
    lead, draft = begun(site)
    over = f"{HERE}/steps/x.over"
    typed = {**fields_of(lead.page(over)), "kind": "over", "when": "door:none", "seen": draft}
    assert lead.send(over, **typed).status_code == 303
    page = lead.page(HERE)
    assert "It would not hold at Plover" in page
    assert "It would not hold at Dunlin" in page
    answer = lead.send(f"{HERE}/publish", seen=seen(page), note="Shorter.")
    said = " ".join(answer.get_data(as_text=True).split())
    assert answer.status_code == 422
    assert "at Plover something that a record proves would be missing" in said
    assert said.count("brings the ball over the face, Z up. Put one before it.") >= 3


def test_nobody_publishes_what_they_did_not_look_at(site: Site) -> None:
    lead, draft = begun(site)
    lead.send(f"{HERE}/act", act="down", step="ready.stop", seen=draft)
    page = lead.page(HERE)
    before = procedures.used(site.house.store, "shop").hash
    first = lead.send(f"{HERE}/publish", do="publish", seen=seen(page), note="Order.")
    assert "nothing is published yet" in read(first)
    other = lead.send(f"{HERE}/publish", do="publish", seen=seen(page), looked="0" * 64, note="Order.")
    assert other.status_code == 422
    assert "Look again, then keep it" in read(other)
    assert "Order.</textarea>" in read(other)
    assert procedures.used(site.house.store, "shop").hash == before


def test_a_draft_that_is_behind_stands_beside_what_is_in_use_and_goes_on_from_there(site: Site) -> None:
    lead = site.signed_in("ines")
    here = "/desk/procedures/vise-a"
    lead.send(f"{here}/draft")
    lead.send(f"{here}/act", act="down", step="ready.stop", seen=seen(lead.page(here)))
    published(site.house, do="Wipe the jaws with a cloth.")
    page = lead.page(here)
    for said in ("Another revision is in use", "Ines", "Wipe the jaws with a cloth.", "“Cloth.”"):
        assert said in page
    refused = lead.send(f"{here}/publish", do="look", seen=seen(page), note="Order.")
    assert refused.status_code == 422
    assert "Nothing of the draft is lost" in read(refused)
    onto = re.search(r'name="onto" value="([0-9a-f]{64})"', page)
    assert onto
    assert lead.send(f"{here}/onto", seen=seen(page), onto=onto[1]).status_code == 303
    page = lead.page(here)
    assert "Another revision is in use" not in page
    assert page.index("ready.probe") < page.index("ready.stop"), "the draft is whole"


def test_a_procedure_is_taken_out_of_use_beside_the_setups_that_are_under_way(site: Site) -> None:
    lead, here = site.signed_in("ines"), "/desk/procedures/vise-a"
    published(site.house, "vise-a")
    page = lead.page(here)
    assert "No setup is under way with this fixture" in page
    site.house.accept(site.house.walk().start().parts)
    late = lead.send(f"{here}/retire", seen=seen(page), reason="One for all.")
    assert late.status_code == 422
    shown = read(late)
    assert "Look again, then keep it" in shown
    assert "Mara Okafor at Plover" in shown
    assert 'value="One for all."' in shown
    answer = lead.send(f"{here}/retire", seen=seen(shown), reason="One for all.")
    assert answer.headers["Location"] == "/desk/procedures?done=retired"


def test_a_picture_is_added_with_its_words_and_what_is_none_is_refused_beside_what_was_typed(
    site: Site,
) -> None:
    lead, _ = begun(site)
    step, page = f"{HERE}/steps/vise.wipe", f"{HERE}/steps/vise.wipe/picture"

    def sent(data: bytes, shows: str, do: str = "put") -> TestResponse:
        file = {"file": (io.BytesIO(data), "camera.jpg")} if data else {}
        return lead.send(page, seen=seen(lead.page(page)), shows=shows, do=do, **file)

    refused = sent(b"%PDF-1.7", "A jaw")
    assert refused.status_code == 422
    assert "The picture was not taken: the file that came is no JPEG picture" in read(refused)
    assert 'value="A jaw"' in read(refused)
    assert "It is empty. Say what the picture shows" in read(sent(jpeg(), " "))
    assert sent(tagged_jpeg(), "The jaw, wiped.").headers["Location"] == step
    assert "It shows a picture: “The jaw, wiped.”" in lead.page(step)
    address = re.search(r'src="(/desk/step-pictures/[0-9a-f]{64}\.jpg)"', lead.page(page))
    assert address
    answer = lead.get(address[1])
    assert answer.headers["Content-Type"] == "image/jpeg"
    assert b"Exif" not in answer.data
    assert site.signed_in("mara").get(address[1]).status_code == 403
    typed = {**fields_of(lead.page(step)), "kind": "confirm", "hands": "y", "do": "Wipe it."}
    assert lead.send(step, **typed).status_code == 303
    assert lead.page(HERE).count("· shows a picture") == 1, "other words leave the picture where it is"
    assert 'alt="The jaw, wiped."' in lead.page(f"{HERE}/preview")
    assert sent(b"", "The wiped jaw.").status_code == 303
    assert 'alt="The wiped jaw."' in lead.page(f"{HERE}/preview")
    assert sent(b"", "", do="out").status_code == 303
    assert "· shows a picture" not in lead.page(HERE)
    assert lead.get("/desk/step-pictures/..%2Fkeys.jpg").status_code == 404
