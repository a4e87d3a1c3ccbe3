"""Ways on from what goes wrong at a move: behind the two buttons, and back through what a reset drops."""

from __future__ import annotations

from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet


def to_kind(hand: Operator, wanted: str) -> str:
    """Walk to the first step of this kind; its id."""
    for step, kind in hand.steps():
        if kind == wanted:
            return step
    raise AssertionError(f"never came to a step of the kind {wanted}")


def test_after_a_hold_the_list_leads_back_to_above_the_place(odile: Operator) -> None:
    tablet = odile.tablet
    stage = to_kind(odile, "touch").split(".")[0]
    tablet.tap("hold")
    assert "Hand off cycle start." in tablet.text()
    assert tablet.events_of("hold.pressed")
    tablet.tap("trouble", "held")
    tablet.tap("trouble-met")
    assert tablet.step == f"{stage}.over"
    assert tablet.events_of("trouble.met")[-1]["data"] == {
        "trouble": "held",
        "touched": False,
        "reset": False,
    }


def test_a_reset_leads_back_through_settings_and_label_and_keeps_what_was_cleared(
    odile: Operator, server: Server
) -> None:
    server.kill()
    tablet = odile.tablet
    to_kind(odile, "touch")
    tablet.tap("off")
    tablet.tap("trouble")
    tablet.tap("trouble", "alarm")
    tablet.page.locator('[data-action="reset"]').check()
    tablet.page.wait_for_timeout(350)
    tablet.page.locator('[data-action="touched"]').check()
    tablet.page.wait_for_timeout(350)
    tablet.tap("trouble-met")
    assert tablet.step == "probe.input"
    odile.walk(until="slot.own")
    odile.close("slot")
    assert tablet.kind == "over", "copied and cleared already, in the same slot"
    odile.walk()
    assert tablet.screen == "after"


def test_nothing_found_is_tried_once_more_and_then_is_the_leads(odile: Operator) -> None:
    tablet = odile.tablet
    for _ in range(2):
        to_kind(odile, "touch")
        tablet.tap("hold")
        tablet.tap("trouble", "nothing_found")
        assert "Does the ball lean on the face?" in tablet.text()
        tablet.tap("leans", "nothing_found")
        tablet.tap("trouble-met")
    assert "found nothing twice" in tablet.text()
    assert tablet.offers("lift")
    tablet.tap("give-up")
    assert tablet.step == "stow.up"


def test_a_probe_that_leans_on_the_face_and_says_nothing_ends_at_the_stow(odile: Operator) -> None:
    tablet = odile.tablet
    to_kind(odile, "touch")
    tablet.tap("hold")
    tablet.tap("trouble", "nothing_found")
    tablet.tap("leans", "dead_probe")
    tablet.tap("trouble-met")
    assert tablet.step == "stow.up"
    assert tablet.events_of("worry.raised")[-1]["data"]["worry"] == "probe_looks_wrong"


def test_a_change_that_stuck_has_the_machines_state_looked_at_again(odile: Operator) -> None:
    tablet = odile.tablet
    to_kind(odile, "tool_in")
    tablet.tap("hold")
    tablet.tap("trouble", "change_stuck")
    assert "Hands out. Press nothing more." in tablet.text()
    tablet.tap("trouble-met")
    assert tablet.step == "ready.state"


def test_the_wrong_way_is_a_way_of_its_own(odile: Operator) -> None:
    tablet = odile.tablet
    stage = to_kind(odile, "search").split(".")[0]
    tablet.tap("hold")
    tablet.tap("trouble", "wrong_way")
    tablet.tap("trouble-met")
    assert tablet.step == f"{stage}.over"


def test_a_hold_that_was_nothing_more_goes_back_to_its_step(odile: Operator) -> None:
    tablet = odile.tablet
    here = to_kind(odile, "touch")
    tablet.tap("hold")
    tablet.tap("back")
    assert tablet.step == here
    assert tablet.events_of("trouble.met") == []


def test_no_correction_is_offered_of_a_step_that_is_opened_no_more(odile: Operator) -> None:
    """It would be taken down as a fault of the setup, and nothing would be corrected."""
    tablet = odile.tablet
    odile.walk(until="vise.bare")
    tablet.page.set_viewport_size({"width": 1280, "height": 800})
    reads(tablet, "vise", "vise.wipe")
    assert tablet.offers("correct")
    tablet.tap("off")
    tablet.tap("break-off")
    for until in (None, "sign.name"):
        if until:
            tablet.tap("break-reason", "practice")
            odile.walk(until=until)
        reads(tablet, "vise", "vise.wipe")
        assert not tablet.offers("correct")
        assert "This step is not opened again" in tablet.text()
        tablet.tap("back")


def reads(tablet: Tablet, stage: str, step: str) -> None:
    """Open a step that is done, as it was recorded."""
    tablet.settled()
    tablet.page.locator(f'[data-action="open-stage"][data-stage="{stage}"]').click()
    tablet.page.wait_for_selector('#app[data-screen="read"]')
    tablet.tap("read-step", step)
