"""Every screen of a setup on three sizes in both themes:
nothing to scroll, nothing too small, nothing too faint; with text at twice its size nothing cut or covered.

Sources: WCAG 2.2, 1.4.6 (7:1), 1.4.10, 2.5.5 (44 px), by axe-core;
the sizes of look and feel are the project's own.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from tests.kit.at_the_mill import all_screens
from tests.kit.chromium import PHONE, SIZES, shift_clock, viewport
from tests.kit.demo import Demo
from tests.kit.looking import drawings_seen, faults, look, look_twice
from tests.kit.tablet import Operator, Tablet
from webapp.demo.mill import Mistake

# Of each drawing on the page, by its size: whether it has shapes beside its title.
DRAWN = "() => [...document.querySelectorAll('.drawing')].map(one => one.childElementCount > 1)"


@pytest.mark.parametrize(
    ("theme", "machine", "person"), [("light", "plover", "odile"), ("dark", "dunlin", "ilse")]
)
def test_every_step_fits_and_can_be_read(
    new_tablet: Callable[..., Tablet], demo: Demo, theme: str, machine: str, person: str
) -> None:
    tablet = new_tablet(color_scheme=theme)
    page, wrong = tablet.page, []
    wrong += look(page, "machines", SIZES) + faults(page, "machines")
    tablet.begin(machine, person)
    operator = Operator(tablet, demo.mill(machine), demo.slot(machine, person), demo.people[person].pin)
    seen = set()
    for step, kind in operator.steps():
        wrong += look(page, step, SIZES) + look_twice(page, step, SIZES)
        if page.locator(".strip.state").count() != 1:
            wrong.append(f"{step} does not say what state the machine must be in")
        if not (tablet.offers("off") and (tablet.offers("hold") or step.startswith("sign."))):
            wrong.append(f"{step} offers no way for when something is wrong")
        if kind in {"search", "touch"}:
            wrong += [f"{step} on {size}: no drawing" for size in SIZES if drawings_seen(page, size) != 1]
        if kind not in seen:
            wrong += faults(page, step)
        seen.add(kind)
    wrong += look(page, "after", SIZES) + look_twice(page, "after", SIZES) + faults(page, "after")
    assert wrong == [], "\n".join(map(str, wrong))
    asked_for_square = tablet.sheet(machine)["square"] is not None
    assert asked_for_square == (machine == "dunlin")
    assert len(seen) == 17 + asked_for_square, "every kind of step was looked at"


def test_screens_beside_the_steps_fit_too(new_tablet: Callable[..., Tablet], demo: Demo) -> None:
    tablet = new_tablet()
    page, wrong = tablet.page, []

    def seen(name: str) -> None:
        wrong.extend(look(page, name, SIZES) + look_twice(page, name, SIZES) + faults(page, name))

    tablet.begin("plover", "odile")
    operator = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "")
    operator.walk(until="x.search")
    tablet.tap_here("why")
    seen("why")
    tablet.tap("off")
    seen("off")
    tablet.tap("worry", "wrong_place")
    seen("off, noted")
    tablet.tap("put-question")
    seen("question")
    tablet.tap("common-question")
    tablet.page.set_viewport_size(viewport(PHONE))
    tablet.tap("open-all")
    tablet.page.set_viewport_size(viewport(SIZES["portrait"]))
    tablet.tap("open-stage")
    seen("a stage, to read")
    tablet.tap("read-step", "ready.board")
    seen("a step, to read")
    tablet.tap("correct")
    seen("correct")
    tablet.tap("back")
    tablet.tap("break-off")
    seen("broken off")
    operator.walk(until="sign.review")
    seen("why it was broken off")
    tablet.tap("break-reason", "vise")
    seen("what happened, of a setup that was broken off")
    shift_clock(page, 1)
    tablet.reload()
    assert tablet.screen == "away"
    seen("nobody was there")
    assert wrong == [], "\n".join(map(str, wrong))


def test_a_stop_fits_and_with_its_question_too(tablet: Tablet, demo: Demo) -> None:
    mill = demo.mill("plover")
    mill.mistakes = {"X": [Mistake(ball_left_out=True)]}
    tablet.begin("plover", "odile")
    operator = Operator(tablet, mill, demo.slot("plover", "odile"), "")
    operator.walk(until="x.compare")
    operator.read_again()
    assert tablet.page.get_attribute("[data-verdict]", "data-verdict") == "stop"
    wrong = []
    for name in ("a stop", "a stop, asked"):
        page = tablet.page
        wrong += look(page, name, SIZES) + look_twice(page, name, SIZES) + faults(page, name)
        if name == "a stop":
            tablet.tap("put-question")
            tablet.tap("common-question")
    assert wrong == [], "\n".join(map(str, wrong))


def test_what_comes_where_something_is_off_fits(tablet: Tablet, demo: Demo) -> None:
    """Every way on, stop, lead's PIN, worry, hand-over and unsigned setup."""
    page, wrong = tablet.page, []

    def seen(name: str) -> None:
        wrong.extend(look(page, name, SIZES) + look_twice(page, name, SIZES) + faults(page, name))
        page.set_viewport_size(viewport(SIZES["portrait"]))

    all_screens(tablet, demo, seen)
    assert wrong == [], "\n".join(wrong)


def test_a_search_says_which_page_of_the_control_and_both_feeds(tablet: Tablet, demo: Demo) -> None:
    tablet.begin("plover", "odile")
    operator = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "")
    for step in ("z.search", "x.search"):
        operator.walk(until=step)
        said = " ".join(tablet.page.locator(".search-grid").inner_text().split())
        assert re.search("first feed 900 .*second feed 60 mm/min", said)
        assert not re.search("feed[^.]*at most", said)
    operator.walk(until="x.touch")
    assert "X in your slot's row" in tablet.text()
    assert "X+: first 900, then 60 mm/min." in tablet.text()


def test_of_three_sizes_of_a_drawing_a_step_draws_the_one_that_is_seen(tablet: Tablet, demo: Demo) -> None:
    tablet.begin("plover", "odile")
    odile = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "")
    drawn = {}
    for step, _ in odile.steps(until="y.touch"):
        tablet.settled()
        drawn[step] = tablet.page.evaluate(DRAWN)
    assert set(map(tuple, drawn.values())) == {(), (False, True, False), (False, False, True)}
    assert len([step for step, sizes in drawn.items() if sizes]) > 5


def test_the_small_drawing_opens_the_large_one(tablet: Tablet, demo: Demo) -> None:
    tablet.begin("plover", "odile")
    Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "").walk(until="x.search")
    tablet.page.set_viewport_size(viewport(PHONE))
    tablet.tap("larger")
    assert tablet.screen == "drawing"
