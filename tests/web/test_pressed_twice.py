"""A form of the desk pressed twice does its work once, and the second press shows what the first did."""

from __future__ import annotations

import re
from collections.abc import Mapping
from threading import Barrier, Thread
from typing import Any

import pytest
from werkzeug.test import TestResponse

from tests.kit.shop import PASSPHRASES
from tests.web.conftest import Browser, Site, read
from tests.web.test_numbers_pages import CHECK, worked_out
from webapp.domain.procedure import editing
from webapp.services.intake import enrolling
from webapp.services.shop import procedures, slots

PRESS = re.compile(r'name="press" type="hidden" value="([^"]+)"')
CODE = re.compile(r'<span class="v code">([^<]+)<')


@pytest.fixture
def lead(site: Site) -> Browser:
    return site.signed_in("ines")


def numbered(lead: Browser, page: str, sent: Mapping[str, Any]) -> dict[str, Any]:
    """A form with the number that stood on its page."""
    found = PRESS.search(lead.page(page))
    assert found
    return {**sent, "press": found[1]}


def twice(lead: Browser, page: str, path: str, sent: Mapping[str, Any]) -> tuple[TestResponse, TestResponse]:
    form = numbered(lead, page, sent)
    return lead.send(path, **form), lead.send(path, **form)


def count(site: Site, kind: str) -> int:
    with site.house.store.reading():
        return len(site.house.store.ledger.changes(kind=kind))


def test_a_code_for_a_tablet_is_made_once_and_shown_to_both(site: Site, lead: Browser) -> None:
    before = count(site, "code.made")
    answers = twice(lead, "/desk/tablets", "/desk/tablets/code", {})
    first, again = (CODE.search(read(one)) for one in answers)
    assert first
    assert again
    assert first[1] == again[1]
    assert count(site, "code.made") == before + 1
    other = CODE.search(read(lead.send("/desk/tablets/code", **numbered(lead, "/desk/tablets", {}))))
    assert other
    assert other[1] != first[1], "the next page's form is another one"


def test_a_tablet_is_taken_out_of_use_once(site: Site, lead: Browser) -> None:
    tablet = enrolling.devices(site.house.store)[0]["id"]
    path = f"/desk/tablets/{tablet}/disable"
    answers = twice(lead, "/desk/tablets", path, {"reason": "Its screen is cracked."})
    assert [one.status_code for one in answers] == [303, 303]
    assert count(site, "device.disabled") == 1


def test_a_machine_is_closed_once_and_the_second_press_offers_no_opening(site: Site, lead: Browser) -> None:
    path, sent = "/desk/machines/mill-1/closed", {"do": "close", "reason": "The spindle drips oil."}
    answers = twice(lead, path, path, sent)
    assert [one.status_code for one in answers] == [303, 303], read(answers[-1])
    assert count(site, "machine.closed") == 1


def test_a_machine_is_taken_out_of_use_once(site: Site, lead: Browser) -> None:
    path, sent = "/desk/shop/machine/mill-2/use", {"do": "out", "reason": "It is sold."}
    answers = twice(lead, path, path, sent)
    assert [one.status_code for one in answers] == [303, 303], read(answers[-1])
    assert count(site, "machine.retired") == 1


def test_a_setup_is_signed_off_once_and_both_presses_see_that_it_is(site: Site, lead: Browser) -> None:
    setup = site.house.signed().setup
    page = f"/desk/setups/{setup}"
    sent = {"seen": site.house.seen(setup), "passphrase": PASSPHRASES["ines"], "note": ""}
    first, again = twice(lead, page, f"{page}/sign-off", sent)
    assert (first.status_code, again.status_code) == (303, 303), read(again)
    assert first.headers["Location"] == again.headers["Location"]
    assert count(site, "setup.signed_off") == 1


def test_a_list_is_signed_once_and_both_presses_see_what_came_of_it(site: Site, lead: Browser) -> None:
    site.house.signed_off()
    site.house.clock.forward(minutes=10)
    setup, path = site.house.signed().setup, "/desk/sign-together"
    lead.page(f"/desk/setups/{setup}")
    sent = {"one": f"{setup}:{site.house.seen(setup)}", "passphrase": PASSPHRASES["ines"]}
    first, again = twice(lead, path, path, sent)
    assert "<h2>1 signed off</h2>" in read(first)
    assert read(first) == read(again)


def test_a_press_in_a_draft_is_done_once_and_nobody_is_told_of_somebody_else(
    site: Site, lead: Browser
) -> None:
    here = "/desk/procedures/shop"
    lead.send(f"{here}/draft")
    draft = procedures.draft(site.house.store, "shop")
    sent = {"act": "down", "step": "ready.stop", "seen": draft.seen, "at": "ready-stop"}
    answers = twice(lead, here, f"{here}/act", sent)
    assert [one.status_code for one in answers] == [303, 303], read(answers[-1])
    now = procedures.draft(site.house.store, "shop").procedure
    assert now == editing.moved_step(draft.procedure, "ready.stop", 1)


@pytest.mark.parametrize(
    ("path", "sent", "kind"),
    [
        ("/desk/fixtures/vise-a/seating", {"reason": "Moved, re-trammed."}, "seating.started"),
        ("/desk/probes/probe-1/check", CHECK, "probe.checked"),
        (
            "/desk/probes/probe-1/care",
            {"every_days": "30", "factor": "2", "reason": "Often."},
            "probe.care_set",
        ),
    ],
)
def test_what_the_numbers_rest_on_is_changed_once(
    site: Site, lead: Browser, path: str, sent: dict[str, Any], kind: str
) -> None:
    before = count(site, kind)
    answers = twice(lead, path, path, worked_out(lead, sent) if sent is CHECK else sent)
    assert [one.status_code for one in answers] == [303, 303], read(answers[-1])
    assert count(site, kind) == before + 1


@pytest.mark.parametrize(
    ("person", "action", "sent", "kind"),
    [
        ("ivo", "authorise",
         {"authorise-machine": "mill-2", "authorise-until": "", "authorise-level": "beside"},
         "person.authorised"),
        ("ivo", "withdraw", {"machine": "mill-1", "reason": "Left the course."},
         "person.authorisation_withdrawn"),
        ("ines", "give_slot", {"give_slot-slot": "mill-1 G57", "give_slot-until": ""}, "slot.given"),
        ("ivo", "disable", {"disable-reason": "Left."}, "person.disabled"),
        ("ivo", "roles", {"roles-roles": ["operator", "lead"], "roles-passphrase": PASSPHRASES["ines"]},
         "person.changed"),
    ],
)  # fmt: skip
def test_what_changes_about_a_person_changes_once(
    site: Site, lead: Browser, person: str, action: str, sent: dict[str, Any], kind: str
) -> None:
    before, page = count(site, kind), f"/desk/people/{person}"
    seen = re.search(r'name="seen" value="([0-9a-f]{64})"', lead.page(page))
    assert seen
    # A slot that is free has no version of its own to be sent back.
    shown = {} if action == "give_slot" else {"seen": seen[1]}
    answers = twice(lead, page, f"{page}/{action}", {**sent, **shown})
    assert [one.status_code for one in answers] == [303, 303], read(answers[-1])
    assert count(site, kind) == before + 1


def test_secrets_begun_anew_are_the_same_for_both_presses(site: Site, lead: Browser) -> None:
    sent, before = {"secrets-passphrase": PASSPHRASES["ines"]}, count(site, "secret.changed")
    first, again = (
        one.get_data(as_text=True)
        for one in twice(lead, "/desk/people/ivo", "/desk/people/ivo/secrets", sent)
    )
    assert first == again
    assert "shown" in first
    assert count(site, "secret.changed") == before + 1


def test_a_form_that_was_changed_in_between_or_is_anothers_is_one_by_itself(
    site: Site, lead: Browser
) -> None:
    form = numbered(lead, "/desk/people/ines", {"give_slot-slot": "mill-1 G57", "give_slot-until": ""})
    path, before = "/desk/people/ines/give_slot", count(site, "slot.given")
    assert lead.send(path, **form).status_code == 303
    assert lead.send(path, **{**form, "give_slot-until": "2027-01-31"}).status_code == 422, (
        "not free any more"
    )
    assert site.signed_in("mara").send(path, **form).status_code == 403
    assert count(site, "slot.given") == before + 1


def test_a_press_that_was_refused_is_looked_at_again(site: Site, lead: Browser) -> None:
    form = numbered(lead, "/desk/people/ines", {"give_slot-slot": "mill-1 G57", "give_slot-until": ""})
    path = "/desk/people/ines/give_slot"
    with site.house.store.writing():
        site.house.store.shop.put_slot("mill-1", "G57", "shop", None, None)
    assert lead.send(path, **form).status_code == 422
    with site.house.store.writing():
        site.house.store.shop.put_slot("mill-1", "G57", "free", None, None)
    assert lead.send(path, **form).status_code == 303


def test_two_presses_at_one_moment_make_one_code(site: Site, lead: Browser) -> None:
    form = {**numbered(lead, "/desk/tablets", {}), "csrf_token": lead.token()}
    cookies = [(one.key, one.value) for one in lead.client._cookies.values()]
    before, gate, answers = count(site, "code.made"), Barrier(2), list[str]()

    def press() -> None:
        other = Browser(site.app.test_client())
        for name, value in cookies:
            other.client.set_cookie(name, value, secure=True)
        gate.wait()
        answers.append(read(other.send_raw("/desk/tablets/code", form)))

    threads = [Thread(target=press) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len({CODE.findall(one)[0] for one in answers}) == 1
    assert count(site, "code.made") == before + 1


def test_a_first_slot_that_is_given_twice_is_given_once(site: Site) -> None:
    store, now = site.house.store, site.house.clock()
    before = count(site, "slot.given"), count(site, "person.authorised")
    for _ in range(2):
        slots.give_first_slot(store, "mill-1", "G57", None, "ines", now)
    assert (count(site, "slot.given"), count(site, "person.authorised")) == (before[0] + 1, before[1] + 1)
