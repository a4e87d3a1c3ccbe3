"""The lead's decisions at the desk: review, sign off, not accept, answer."""

from tests.kit.shop import CENTRES_NM, PASSPHRASES, PINS, PROBE
from tests.web.conftest import SEEN, Site, read
from webapp.services.decisions import signing_off
from webapp.services.decisions.errors import DecidedAlready, NotPlain
from webapp.services.evidence.ledger import change
from webapp.services.setups import answering, stored_setups


def test_the_queue_shows_a_signed_setup_and_the_page_shows_every_number_beside_its_limit(site: Site) -> None:
    site.house.signed_off()
    site.house.clock.forward(hours=1)
    walk = site.house.signed()
    lead = site.signed_in("ines")
    assert f"/desk/setups/{walk.setup}" in lead.page("/desk")
    page = lead.page(f"/desk/setups/{walk.setup}")
    for shown in ("−381.250", "−152.400", "−300.050", "±", "G54", "Mara Okafor"):
        assert shown in page, shown
    assert "Copy the three old values beside that label" in page
    assert "{slot}" not in page
    assert page.count("<figure>") == 3
    assert page.count('class="touch-rule"') == 6  # each axis in one look, and each touch in the table


def test_a_setup_is_signed_off_with_the_passphrase_and_a_note(site: Site) -> None:
    walk = site.house.signed()
    lead = site.signed_in("ines")
    path = f"/desk/setups/{walk.setup}/sign-off"
    assert "reviewed and accepted" in lead.page(path)
    answer = lead.decide(path, note="Good.", passphrase=PASSPHRASES["ines"])
    assert answer.status_code == 303
    page = lead.page(f"/desk/setups/{walk.setup}")
    assert "signed off" in page
    assert "Good." in page


def test_a_wrong_passphrase_signs_nothing_and_keeps_the_note(site: Site) -> None:
    walk = site.house.signed()
    lead = site.signed_in("ines")
    answer = lead.decide(
        f"/desk/setups/{walk.setup}/sign-off", note="A note of mine.", passphrase="not the passphrase"
    )
    text = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "A note of mine." in text
    assert "not the passphrase" not in text
    assert "waits for sign-off" in lead.page(f"/desk/setups/{walk.setup}")


def test_a_setup_that_changed_since_its_form_was_opened_is_read_again_and_the_note_stays(site: Site) -> None:
    walk = site.house.walk().start()
    for number in (1, 2):
        walk.question(number, "X")
    walk.until("sign").sign(PINS["mara"], site.house.keyring)
    site.house.accept(walk.parts)
    lead = site.signed_in("ines")
    for decision, field in (("sign-off", "note"), ("not-accepted", "reason")):
        path = f"/desk/setups/{walk.setup}/{decision}"
        read = SEEN.search(lead.page(path))
        assert read
        question = answering.questions(site.house.store)[0]
        answering.answer(site.house.store, question["id"], "tomas", "go_on", "Fine.", site.house.clock())
        for passphrase, told in (
            ("not the passphrase", "does not"),
            (PASSPHRASES["ines"], "has changed since you looked at it"),
        ):
            typed = {field: "Words of mine.", "seen": read[1], "passphrase": passphrase}
            answer = lead.send(path, **typed)
            text = answer.get_data(as_text=True)
            assert answer.status_code == 422
            assert "Words of mine." in text
            fresh = SEEN.search(text, text.index(f'action="{path}'))
            assert fresh
            assert ("has changed since" in text) == told.startswith("has changed")
            assert (fresh[1] == read[1]) == (passphrase == "not the passphrase")
    assert "waits for sign-off" in lead.page(f"/desk/setups/{walk.setup}")


def test_a_form_without_what_was_read_decides_nothing(site: Site) -> None:
    walk = site.house.signed()
    lead = site.signed_in("ines")
    for decision in ("sign-off", "not-accepted"):
        answer = lead.send(
            f"/desk/setups/{walk.setup}/{decision}", note="", reason="No.", passphrase=PASSPHRASES["ines"]
        )
        assert answer.status_code == 422
        assert "has changed since you looked at it" in answer.get_data(as_text=True)


def test_wrong_passphrases_typed_elsewhere_do_not_keep_a_lead_from_signing_off(site: Site) -> None:
    walk = site.house.signed()
    jokers = [site.signed_in(person) for person in ("ivo", "mara", "tomas")]
    for joker in jokers:
        joker.client.environ_base["REMOTE_ADDR"] = "10.0.0.66"
    for _ in range(9):
        site.house.clock.forward(minutes=10)
        for joker in jokers:
            joker.send("/me/pin", passphrase="a wrong passphrase", new_pin="908172", new_pin_again="908172")
    lead = site.signed_in("ines")
    answer = lead.decide(f"/desk/setups/{walk.setup}/sign-off", note="", passphrase=PASSPHRASES["ines"])
    assert answer.status_code == 303


def test_a_setup_is_not_accepted_with_a_reason_only(site: Site) -> None:
    walk = site.house.signed()
    lead = site.signed_in("ines")
    path = f"/desk/setups/{walk.setup}/not-accepted"
    refused = lead.decide(path, reason="", passphrase=PASSPHRASES["ines"])
    assert refused.status_code == 422
    assert "Say why" in refused.get_data(as_text=True)
    assert lead.decide(path, reason="Wrong vise.", passphrase=PASSPHRASES["ines"]).status_code == 303
    page = lead.page(f"/desk/setups/{walk.setup}")
    assert "not accepted" in page
    assert "Wrong vise." in page


def test_a_problem_of_a_decision_is_shown_though_it_belongs_to_no_event(site: Site) -> None:
    walk = site.house.walk().through()
    site.house.accept(walk.parts)
    with site.house.store.writing():
        read = signing_off.reviewed_now(site.house.store, walk.setup)
        data = {"meaning": "reviewed and accepted", "note": "", "reviewed": read}
        change(site.house.store, "setup.signed_off", "ines", walk.setup, walk.setup, data, site.house.clock())
        stored_setups.refresh(site.house.store, walk.setup)
    page = site.signed_in("ines").page(f"/desk/setups/{walk.setup}")
    assert "1 problem<" in page


def test_whoever_ran_a_setup_is_told_that_another_lead_signs_it_off(site: Site) -> None:
    walk = site.house.signed("tomas")
    runner = site.signed_in("tomas")
    assert "another lead has to sign it off" in runner.page(f"/desk/setups/{walk.setup}")
    path, read = f"/desk/setups/{walk.setup}/sign-off", site.house.seen(walk.setup)
    answer = runner.send(path, note="", seen=read, passphrase=PASSPHRASES["tomas"])
    assert answer.status_code == 422
    assert "waits for sign-off" in runner.page(f"/desk/setups/{walk.setup}")


def plain_setups(site: Site, count: int) -> list[str]:
    """A vise with a usual, and so many plain setups that wait."""
    site.house.signed_off()
    found = []
    for _ in range(count):
        site.house.clock.forward(minutes=10)
        found.append(site.house.signed().setup)
    return found


def listed(page: str) -> list[str]:
    return [part.split('"', 1)[0] for part in page.split('name="one" checked value="')[1:]]


def test_one_passphrase_signs_the_list_of_what_was_opened_each_as_its_own_event(site: Site) -> None:
    first, second, unopened = plain_setups(site, 3)
    lead = site.signed_in("ines")
    assert "There is nothing here to sign." in lead.page("/desk/sign-together")
    for setup in (first, second):
        lead.page(f"/desk/setups/{setup}")
    assert "Sign 2 opened setups" in lead.page("/desk")
    one = listed(lead.page("/desk/sign-together"))
    assert [each.split(":")[0] for each in one] == [first, second]
    wrong = lead.send("/desk/sign-together", one=one, passphrase="not the passphrase")
    assert wrong.status_code == 422
    answer = lead.send("/desk/sign-together", one=one, passphrase=PASSPHRASES["ines"])
    assert answer.status_code == 200
    assert "<h2>2 signed off</h2>" in read(answer)
    assert read(answer).count("Mara Okafor, Plover</a>: <b>signed off</b>, its record is sealed") == 2
    with site.house.store.reading():
        signed = site.house.store.ledger.changes(kind="setup.signed_off")
        assert [row["setup"] for row in signed][:2] == [second, first]
        assert {setup: site.house.store.records.record(setup) is not None for setup in (first, second)} == {
            first: True, second: True,
        }  # fmt: skip
        waiting = site.house.store.setups.setup(unopened)
        assert waiting is not None
        assert waiting["status"] == "signed"


def test_nothing_is_signed_together_that_was_not_opened_here_or_changed_since(site: Site) -> None:
    (setup,) = plain_setups(site, 1)
    lead = site.signed_in("ines")
    made_up = f"{setup}:{site.house.seen(setup)}"
    answer = lead.send("/desk/sign-together", one=made_up, passphrase=PASSPHRASES["ines"])
    assert answer.status_code == 422
    lead.page(f"/desk/setups/{setup}")
    assert listed(lead.page("/desk/sign-together")) == [made_up]
    assert lead.send("/desk/sign-together", passphrase=PASSPHRASES["ines"]).status_code == 422
    assert "waits for sign-off" in lead.page(f"/desk/setups/{setup}")


def test_a_setup_that_was_not_ticked_stays_so_when_the_passphrase_was_wrong(site: Site) -> None:
    signed, left = plain_setups(site, 2)
    lead = site.signed_in("ines")
    for setup in (signed, left):
        lead.page(f"/desk/setups/{setup}")
    one, other = listed(lead.page("/desk/sign-together"))
    page = read(lead.send("/desk/sign-together", one=one, passphrase="not the passphrase"))
    assert listed(page) == [one]
    assert f'name="one" value="{other}"' in page, "it can be ticked again"
    none = lead.send("/desk/sign-together", passphrase=PASSPHRASES["ines"])
    assert "No setup is ticked, so none was signed." in read(none)


def test_of_two_leads_with_one_list_the_second_is_told_and_the_rest_is_signed(site: Site) -> None:
    first, second = plain_setups(site, 2)
    lead = site.signed_in("ines")
    for setup in (first, second):
        lead.page(f"/desk/setups/{setup}")
    read = [(setup, site.house.seen(setup)) for setup in (first, second)]
    site.house.sign_off(first, "tomas")
    ((_, why), (_, signed)) = [
        (one.setup, one.refused)
        for one in signing_off.sign_off_together(
            site.house.store, read, "ines", PASSPHRASES["ines"], site.house.clock()
        )
    ]
    assert isinstance(why, DecidedAlready)
    assert signed is None


def test_the_outcome_of_a_list_is_told_setup_by_setup(site: Site) -> None:
    gone, odd, good = plain_setups(site, 3)
    lead = site.signed_in("ines")
    for setup in (gone, odd, good):
        lead.page(f"/desk/setups/{setup}")
    one = listed(lead.page("/desk/sign-together"))
    site.house.sign_off(gone, "tomas")
    with site.house.store.reading():
        row = site.house.store.setups.setup(odd)
    assert row is not None
    later = {"setup": odd, "sheet": row["sheet"], "person": "mara", "at_utc": site.house.clock.text}
    site.house.device.event("hold.pressed", {}, **later)
    site.house.accept(site.house.device.sent[-1:])
    answer = lead.send("/desk/sign-together", one=one, passphrase=PASSPHRASES["ines"])
    said = read(answer)
    assert answer.status_code == 422
    assert "2 not signed off, 1 signed off" in said
    parts = {
        setup: said.partition(f"/desk/setups/{setup}")[2].partition("</li>")[0] for setup in (gone, odd, good)
    }
    assert "<b>not signed off.</b> Tomas" in parts[gone]
    assert "<b>not signed off.</b> This setup" in parts[odd]
    assert "<b>signed off</b>, its record is sealed" in parts[good]


def test_a_setup_with_something_odd_is_not_signed_in_a_list(site: Site) -> None:
    setup, _ = question_of(site)
    read = [(setup, site.house.seen(setup))]
    (one,) = signing_off.sign_off_together(
        site.house.store, read, "ines", PASSPHRASES["ines"], site.house.clock()
    )
    assert isinstance(one.refused, NotPlain)


def question_of(site: Site) -> tuple[str, str]:
    walk = site.house.walk().start().until("touch", "Y")
    walk.touch(CENTRES_NM["Y"] + 200_000)
    question = walk.question(1, "Y", "Y is 0.2 off. Go on?")
    site.house.accept(walk.parts)
    return walk.setup, question


def test_a_question_shows_the_touch_that_it_was_put_about_and_says_that_another_came_later(
    site: Site,
) -> None:
    walk = site.house.walk().start().until("touch", "Y")
    walk.touch(CENTRES_NM["Y"] + 200_000)
    question = walk.question(1, "Y", "Y is 0.2 off. Go on?")
    walk.event("touch.repeated", {"axis": "Y"}, walk.step["id"])
    walk.until("touch", "Y").touch(CENTRES_NM["Y"] + 1_000)
    site.house.accept(walk.parts)
    lead = site.signed_in("ines")
    plates = (
        lead.page(f"/desk/questions/{question}").partition('<div class="plates">')[2].partition("<table")[0]
    )
    assert "−152.200" in plates
    assert "−152.399" not in plates
    assert "It was touched again after the question" in plates


def test_the_lead_sees_beside_an_odd_touch_what_may_be_behind_it_with_the_arithmetic(site: Site) -> None:
    site.house.signed_off()
    site.house.clock.forward(hours=1)
    walk = site.house.walk().start().until("touch", "Y")
    walk.touch(CENTRES_NM["Y"] - PROBE.effective_radius_nm + 5_000)
    question = walk.question(1, "Y", "Y is 3 mm off. Go on?")
    site.house.accept(walk.parts)
    candidates = walk.sheet["axes"][1]["causes"]["candidates"]
    ball = next(one for one in candidates if one["code"] == "cause.ball_left_out")
    lead = site.signed_in("ines")
    for path in (f"/desk/questions/{question}", f"/desk/setups/{walk.setup}"):
        table = lead.page(path).partition("What may be behind it")[2].partition("</table>")[0]
        first = table.partition("<tbody>")[2].partition("</tr>")[0]
        assert "The ball&#39;s radius of 2.996 mm may have been left out." in first
        for number in ("−155.396", "+0.005", f"{5_000 / ball['uncertainty_nm']:.1f} <span"):
            assert number in first, number
        assert "Look at whether the probing cycle added the ball&#39;s radius" in first
        assert "Y," in first
        assert "X," not in table


def test_a_question_is_answered_with_a_decision_and_a_reason(site: Site) -> None:
    setup, question = question_of(site)
    lead = site.signed_in("ines")
    page = lead.page(f"/desk/questions/{question}")
    assert "Y is 0.2 off. Go on?" in page
    assert "−152.200" in page
    answer = lead.send(f"/desk/questions/{question}", decision="touch_again", reason="Wipe it first.")
    assert answer.status_code == 303
    assert "Wipe it first." in lead.page(f"/desk/setups/{setup}")
    assert "Y is 0.2 off" not in lead.page("/desk")


def test_an_answer_without_a_decision_or_a_reason_is_refused_and_keeps_what_was_typed(site: Site) -> None:
    _, question = question_of(site)
    lead = site.signed_in("ines")
    without_decision = lead.send(f"/desk/questions/{question}", reason="Wipe it first.")
    assert without_decision.status_code == 422
    assert "Nothing is chosen. Choose one of them." in without_decision.get_data(as_text=True)
    assert "Wipe it first." in without_decision.get_data(as_text=True)
    without_reason = lead.send(f"/desk/questions/{question}", decision="go_on", reason=" ")
    assert without_reason.status_code == 422
    assert "Y is 0.2 off" in lead.page("/desk")


def test_the_first_of_two_answers_counts_and_the_second_is_told_so(site: Site) -> None:
    _, question = question_of(site)
    first, second = site.signed_in("ines"), site.signed_in("tomas")
    assert first.send(f"/desk/questions/{question}", decision="go_on", reason="Fine.").status_code == 303
    late = second.send(f"/desk/questions/{question}", decision="break_off", reason="Stop it.")
    assert late.status_code == 422
    assert "Fine." in second.page(f"/desk/questions/{question}")


def test_a_split_in_the_tablet_s_history_is_shown_before_the_lead_signs(site: Site) -> None:
    walk = site.house.walk().start()
    copy = walk.device.clone()
    one = walk.event("hold.pressed", {}, None)
    site.house.accept(walk.parts)
    same = {name: one[name] for name in ("setup", "sheet", "person", "at_utc")}
    other = copy.event("worry.raised", {"worry": "other", "text": ""}, **same)
    site.house.accept(copy.sent)
    page = site.signed_in("ines").page(f"/desk/setups/{walk.setup}")
    note = page.partition("history splits here")[2].partition("</section>")[0]
    assert f"number {one['sequence']}" in note
    assert one["id"][:12] in note
    assert other["id"][:12] in note


def test_a_setup_that_was_broken_off_says_at_which_step_in_words(site: Site) -> None:
    walk = site.house.walk().start().until("touch", "Y")
    walk.event("setup.broken_off", {}, walk.step["id"])
    site.house.accept(walk.parts)
    page = site.signed_in("ines").page(f"/desk/setups/{walk.setup}")
    assert "At “Run it, a hand at feed hold; type the Y shown”" in page
    assert "y.touch</code>, " not in page
