"""Two leads at their own computers at once: one wins, the other is told what happened, and what they typed is
still there to be read.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.kit.chromium import LANDSCAPE
from tests.kit.demo import Demo
from tests.kit.desk import Desk
from tests.kit.server import Server
from tests.kit.tablet import Operator
from webapp.services.sheets.fitted_machines import fitted_machine

LATE = 20_000  # hashing secrets and sealing take a while


@dataclass
class Leads:
    """The pages of two leads, signed in in two browsers."""

    first: Page
    second: Page

    def open(self, path: str) -> None:
        for page in (self.first, self.second):
            page.goto(path)


@pytest.fixture
def leads(demo: Demo, server: Server, new_context: Callable[..., BrowserContext]) -> Leads:
    pages = []
    for person in ("mara", "henk"):
        context = new_context(LANDSCAPE, base_url=server.address)
        context.set_default_timeout(LATE)
        Desk(page := context.new_page(), server.address).sign_in(person, demo.people[person])
        pages.append(page)
    return Leads(*pages)


def main(page: Page) -> str:
    return " ".join(page.locator("main").inner_text().split())


def test_of_two_who_give_one_slot_the_second_is_told_whose_it_is_and_reads_what_they_typed(
    leads: Leads, demo: Demo
) -> None:
    with demo.opened() as (store, _), store.reading():
        machine = min(store.shop.items("machine"))
        labels = fitted_machine(store, machine).machine.labels
        taken = {row["label"] for row in store.shop.slots(machine)}
        label = next(one for one in labels if one not in taken)
        owners = {row["owner"] for row in store.shop.slots(machine)}
        one, other = [row["id"] for row in store.people.everybody() if row["id"] not in owners][:2]
    leads.open(f"/desk/slots/{machine}/{label}")
    for page, person in ((leads.first, one), (leads.second, other)):
        page.get_by_label("Short name").fill(person)
        page.get_by_label("Last day").fill("2027-03-31")
    leads.first.get_by_role("button", name="Give", exact=True).click()
    leads.first.get_by_text("It is given.").wait_for()
    leads.second.get_by_role("button", name="Give", exact=True).click()
    leads.second.get_by_role("alert").wait_for()
    told = main(leads.second)
    with demo.opened() as (store, _), store.reading():
        row = store.shop.slot(machine, label)
        owner = store.people.names()[one]
    assert row
    assert row["owner"] == one
    assert f"{label} was changed while you looked: it is {owner} now" in told
    assert "What you typed is here still" in told
    assert all(typed in told for typed in (other, "2027-03-31"))


def test_of_two_who_take_one_person_out_of_use_the_second_is_told_and_reads_their_reason(
    leads: Leads, demo: Demo
) -> None:
    leads.open("/desk/people/odile")
    for page, reason in ((leads.first, "Left the shop."), (leads.second, "Hurt a hand, back in May.")):
        page.locator("#disable-reason").fill(reason)
    leads.first.get_by_role("button", name="Take out of use").click()
    leads.first.get_by_text("The account is out of use").wait_for()
    leads.second.get_by_role("button", name="Take out of use").click()
    leads.second.get_by_role("alert").wait_for()
    told = main(leads.second)
    assert "Somebody else changed this while you looked at it" in told
    assert "Hurt a hand, back in May." in told
    with demo.opened() as (store, _), store.reading():
        (entry,) = store.ledger.changes(kind="person.disabled")
    assert "Left the shop." in entry["text"]


def test_of_two_who_sign_one_setup_off_the_second_is_told_by_whom_and_reads_their_note(
    odile: Operator, leads: Leads, demo: Demo
) -> None:
    odile.walk()
    odile.tablet.all_sent()
    setup = demo.newest_setup("odile")["id"]
    leads.open(f"/desk/setups/{setup}")
    for page, note, person in (
        (leads.first, "Looked at.", "mara"),
        (leads.second, "The ball is new.", "henk"),
    ):
        page.get_by_label("Note").fill(note)
        page.locator("#passphrase").fill(demo.people[person].passphrase)
    leads.first.get_by_role("button", name="Sign off").click()
    leads.first.get_by_text("Signed off, and the record is sealed").wait_for()
    leads.second.get_by_role("button", name="Sign off").click()
    leads.second.get_by_role("alert").wait_for()
    told = main(leads.second)
    assert "The ball is new." in told
    assert demo.people["henk"].passphrase not in leads.second.content()
    row = demo.setup_row(setup)
    assert row
    assert row["status"] == "signed_off"
    with demo.opened() as (store, _), store.reading():
        first = store.people.names()["mara"]
        (entry,) = [one for one in store.ledger.changes_of_setup(setup) if one["type"] == "setup.signed_off"]
    assert entry["by"] == "mara"
    assert first in told
