"""What the shop changes while a tablet is out of reach or a setup runs: a person, a PIN, the steps."""

from __future__ import annotations

from dataclasses import replace

from tests.kit.demo import Demo, now
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet
from webapp.domain.procedure import editing
from webapp.domain.procedure.procedure import Procedure
from webapp.services.people import access, accounts
from webapp.services.shop import procedures, publishing

OTHER_PIN, WORDS = "805172", "Wipe the jaw with a clean cloth."


def sign(hand: Operator, pin: str) -> None:
    hand.tablet.page.fill("#pin", pin)
    hand.tablet.tap("go")


def told(tablet: Tablet, words: str) -> None:
    """The server's word on the signature, which brings the field back."""
    tablet.sync()
    tablet.page.locator("#pin").wait_for(timeout=60_000)
    assert words in tablet.text()


def test_a_pin_and_a_person_that_the_shop_changed_meanwhile_are_told_at_the_signature_and_nothing_is_lost(
    odile: Operator, demo: Demo, server: Server
) -> None:
    tablet, secrets = odile.tablet, demo.people["odile"]
    server.kill()
    tablet.tap("off")
    tablet.tap("break-off")
    tablet.tap("break-reason", "practice")
    odile.walk(until="sign.name")
    sign(odile, secrets.pin)
    with demo.opened() as (store, keyring):
        access.change_pin(store, keyring, "odile", secrets.passphrase, OTHER_PIN, now())
    server.start()
    told(tablet, "the PIN was not yours")
    tablet.all_sent()
    server.kill()
    sign(odile, OTHER_PIN)
    with demo.opened() as (store, _):
        accounts.disable_person(store, "odile", "She left.", "mara", now())
    server.start()
    told(tablet, "no longer on the shop's list of people")
    tablet.all_sent()
    made = tablet.events()
    with demo.opened() as (store, _), store.reading():
        stored = store.events.events_of(made[0]["payload"]["setup"])
    assert [row["id"] for row in stored] == [row["id"] for row in made]
    assert demo.newest_setup("odile")["signature"] != "verified"


def in_other_words(procedure: Procedure) -> Procedure:
    return editing.with_step(procedure, replace(editing.step_of(procedure, "vise.wipe"), do=WORDS))


def publish(demo: Demo) -> None:
    with demo.opened() as (store, _):
        draft = procedures.begin(store, "shop", "mara", now())
        draft = procedures.edit(store, "shop", draft.seen, in_other_words, "mara", now())
        looked = publishing.look(store, "shop", draft.seen, "mara").digest
        publishing.publish(store, "shop", draft.seen, looked, "A cloth.", "mara", now())


def test_a_running_setup_keeps_the_steps_that_it_began_with_and_the_next_has_those_of_now(
    odile: Operator, demo: Demo
) -> None:
    tablet = odile.tablet
    before = tablet.rows("sheets")
    odile.walk(until="ready.probe")
    publish(demo)
    for _ in range(300):
        if WORDS in tablet.rows("sheets")[-1]["text"] or any(
            WORDS in r["text"] for r in tablet.rows("sheets")
        ):
            break
        tablet.sync()
        tablet.page.wait_for_timeout(100)
    tablet.reload()
    odile.walk(until="vise.wipe")
    began = next(row for row in before if row["hash"] == tablet.events()[0]["payload"]["sheet"])
    assert WORDS not in began["text"]
    assert WORDS not in tablet.text()
    tablet.tap("off")
    tablet.tap("break-off")
    tablet.tap("break-reason", "practice")
    odile.walk()
    tablet.all_sent()
    stored = demo.newest_setup("odile")
    assert (stored["status"], stored["signature"]) == ("signed", "verified")
    tablet.tap("another")
    tablet.begin("plover", "odile")
    odile.walk(until="vise.wipe")
    assert WORDS in tablet.text()
