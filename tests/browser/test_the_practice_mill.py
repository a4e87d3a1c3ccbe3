"""The practice mill's page: everything that goes wrong
in this job can be practised on it, without a script.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.kit.by_hand import BY_HAND, PARKED, say_of_machine
from tests.kit.chromium import SIZES, viewport
from tests.kit.demo import Demo
from tests.kit.server import Server
from webapp.demo.practice_deeds import DEEDS, FAULTS

NewContext = Callable[..., BrowserContext]


class Notebook:
    """The page as a hand uses it: fill in a form, press its button, read what stands there."""

    def __init__(self, page: Page, address: str) -> None:
        self.page = page
        page.goto(f"{address}/practice/plover")

    def do(self, form: str, way: str | None = None, **typed: str) -> None:
        here = self.page.locator(f'form:has(input[name="action"][value="{form}"])').last
        for name, text in typed.items():
            field = here.locator(f'[name="{name}"]')
            kind = field.first.get_attribute("type")
            if kind == "radio":
                here.locator(f'[name="{name}"][value="{text}"]').check()
            elif field.evaluate_all("found => found[0].tagName") == "SELECT":
                field.select_option(text)
            else:
                field.fill(text)
        button = here.locator(f'button[value="{way}"]') if way else here.locator("button").first
        button.click()

    def select(self, slot: str) -> None:
        self.page.get_by_role("button", name=f"Select {slot}", exact=True).click()

    def jog(self, axis: str, by: float) -> None:
        """Turn the wheel by so many millimetres: tens of them, then tenths."""
        way = "+" if by > 0 else "-"
        tens, rest = divmod(round(abs(by) * 10), 100)
        for step, clicks in (("10", tens), ("0.1", rest)):
            if clicks:
                self.do("jog", way=way, axis=axis, step=step, clicks=str(clicks))

    def drive(self, **to_mm: float) -> None:
        """Until the machine page shows these, one axis after the other."""
        for axis, place in to_mm.items():
            self.jog(axis, place - float(self.shown(f"page-{axis}")))

    def shown(self, name: str) -> str:
        return self.page.locator(f"#{name}").inner_text().replace("−", "-")

    def text(self) -> str:
        return self.page.locator("main").inner_text()


@pytest.fixture
def notebook(server: Server, new_context: NewContext) -> Notebook:
    return Notebook(new_context(java_script_enabled=False).new_page(), server.address)


def test_a_whole_touch_by_wheel_and_search_writes_the_selected_row(notebook: Notebook, demo: Demo) -> None:
    truth = demo.mill("plover").mill.vise.surface_nm
    end, face, top = (truth[axis] / 1e6 for axis in "XYZ")
    notebook.do("tool", tool="30")
    notebook.select("G57")
    notebook.drive(X=round(end - 6, 1), Y=round(face + 10, 1), Z=round(top - 7, 1))
    air = notebook.page.locator("#shown-air").inner_text()
    assert "X+ fixed jaw" in air
    assert "3.0 mm" in air
    notebook.do("search", way="+", axis="X", range="4.5", feed="900")
    assert abs(float(notebook.shown("shown-X")) - end) < 0.02
    assert "touched, and back where it began" in notebook.text()


def test_driving_into_the_jaw_is_a_crash_that_only_reset_and_the_lead_end(
    notebook: Notebook, demo: Demo
) -> None:
    top = demo.mill("plover").mill.vise.surface_nm["Z"] / 1e6
    middle = demo.mill("plover").mill.vise.middle_nm
    notebook.do("tool", tool="30")
    notebook.select("G55")
    notebook.drive(X=round(middle["X"] / 1e6, 1), Y=round(middle["Y"] / 1e6, 1), Z=round(top + 5, 1))
    notebook.jog("Z", -8)
    assert "Alarm: the ball hit the fixed jaw." in notebook.text()
    notebook.do("jog", way="+", axis="Z", step="1", clicks="5")
    assert "press reset" in notebook.text()
    notebook.do("reset")
    assert notebook.shown("shown-slot") == "G54", "the reset dropped the slot"
    notebook.do("nudge")
    assert "did not change" in notebook.text()
    notebook.do("mend_probe")
    notebook.do("nudge")
    assert "changed, and changed back" in notebook.text()


def test_what_is_planted_stays_over_a_restart_until_it_is_taken_out(
    notebook: Notebook, server: Server
) -> None:
    notebook.do("tool", tool="30")
    notebook.page.locator("summary").click()
    notebook.page.locator('[value="probe_dead"]').check()
    notebook.page.locator('[value="vise_moved"]').check()
    notebook.do("plant")
    server.kill()
    server.start()
    notebook.page.goto(f"{server.address}/practice/plover")
    assert notebook.page.locator('[value="probe_dead"]').is_checked()
    notebook.do("nudge")
    assert "did not change" in notebook.text()
    notebook.page.locator('[value="probe_dead"]').uncheck()
    notebook.do("plant")
    notebook.do("nudge")
    assert "changed, and changed back" in notebook.text()


def test_sleep_hold_and_rows_can_be_practised(notebook: Notebook) -> None:
    notebook.do("tool", tool="30")
    notebook.do("search", way="-", axis="X", range="4", feed="900", hold_after="1")
    assert "A search was held on the way" in notebook.text()
    notebook.do("cycle_start")
    assert "the search came to its end without a touch" in notebook.text()
    notebook.do("reset")
    notebook.do("wait", minutes="12")
    assert notebook.shown("shown-lamp") == "dark"
    notebook.do("wake")
    assert notebook.shown("shown-lamp") == "ready"
    notebook.do("copy_row", source="G55", slot="G59.3")
    notebook.do("value", slot="G59.3", axis="Z", value="-1.25")
    notebook.select("G59.3")
    assert notebook.shown("shown-Z") == "-1.250"
    assert notebook.shown("shown-X") != "0.000"
    notebook.do("clear_table")
    assert notebook.shown("shown-X").removeprefix("+") == "0.000"


def touch_the_end(notebook: Notebook, demo: Demo, slot: str) -> float:
    """Load the probe, select the slot, touch the jaw's end by wheel and search; where it stands."""
    truth = demo.mill("plover").mill.vise.surface_nm
    end, face, top = (truth[axis] / 1e6 for axis in "XYZ")
    notebook.do("tool", tool="30")
    notebook.select(slot)
    notebook.drive(X=round(end - 6, 1), Y=round(face + 10, 1), Z=round(top - 7, 1))
    notebook.do("search", way="+", axis="X", range="4.5", feed="900")
    return end


def test_a_row_is_parked_and_written_by_hand_where_the_shop_says_so(notebook: Notebook, demo: Demo) -> None:
    say_of_machine(demo, "plover", BY_HAND | PARKED)
    end = touch_the_end(notebook, demo, "G57")
    notebook.page.get_by_role("button", name="X and Y to zero, Z to −20.000 mm").click()
    assert notebook.shown("shown-Z") == "-20.000"
    assert notebook.shown("shown-X").removeprefix("+") == "0.000", "no touch is written here"
    kept = notebook.shown("shown-answered")
    answered = float(kept.partition("answered: X ")[2].partition(" ")[0])
    assert abs(answered - (end - 3)) < 0.02, "one radius before the face"
    notebook.do("value", slot="G57", axis="X", value=f"{answered + 3:.3f}")
    assert abs(float(notebook.shown("shown-X")) - end) < 0.02
    notebook.do("search", way="-", axis="X", range="1", feed="900")
    assert notebook.page.locator("#shown-answered").count() == 0, "another search drops it"


def test_where_a_key_writes_the_row_nothing_stands_there_before_it_is_pressed(
    notebook: Notebook, demo: Demo
) -> None:
    say_of_machine(demo, "plover", {"slot_written": "key"})
    notebook.do("tool", tool="30")
    notebook.do("write_touch")
    assert "Nothing was touched" in notebook.text()
    end = touch_the_end(notebook, demo, "G57")
    before = notebook.shown("shown-X")
    assert notebook.shown("shown-answered").startswith("The control keeps X -4")
    notebook.do("write_touch")
    assert notebook.shown("shown-X") != before
    assert abs(float(notebook.shown("shown-X")) - end) < 0.02


def test_every_deed_has_its_form_and_every_fault_its_box(notebook: Notebook, demo: Demo) -> None:
    say_of_machine(demo, "plover", {"slot_written": "key"})
    notebook.page.reload()
    forms = notebook.page.locator('input[name="action"]').evaluate_all("all => all.map(one => one.value)")
    assert set(forms) == set(DEEDS)
    boxes = notebook.page.locator('input[name="fault"]').evaluate_all("all => all.map(one => one.value)")
    assert tuple(boxes) == FAULTS


def test_what_is_typed_wrongly_is_said_and_changes_nothing(notebook: Notebook) -> None:
    said = {}
    for form, typed in (
        ("tool", {"tool": "99"}),
        ("value", {"value": "1.2.3"}),
        ("wait", {"minutes": "soon"}),
        ("search", {"range": "far"}),
    ):
        notebook.do(form, **typed, **({"way": "+"} if form == "search" else {}))
        said[form] = notebook.page.locator(".notebook-refused").inner_text()
    assert "There is no tool 99" in said["tool"]
    assert "“1.2.3” is no length here" in said["value"]
    assert "“soon”" in said["wait"]
    assert "“far”" in said["search"]
    assert "Nothing yet." in notebook.text()


def test_the_wheel_turns_by_keyboard_alone_and_its_choice_stays(notebook: Notebook) -> None:
    page = notebook.page
    page.locator('#do-jog [name="axis"][value="X"]').focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Tab")
    page.keyboard.type("3")
    page.keyboard.press("Tab")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert notebook.shown("page-Y") == "-0.300"
    assert page.locator('#do-jog [name="axis"][value="Y"]').is_checked()
    assert page.locator('#do-jog [name="step"][value="0.1"]').is_checked()


@pytest.mark.parametrize("size", SIZES)
def test_nothing_is_wider_than_the_page_and_no_target_is_small(notebook: Notebook, size: str) -> None:
    page = notebook.page
    page.set_viewport_size(viewport(SIZES[size]))
    page.locator("summary").click()
    small = []
    for one in page.locator(
        "main button, main select, main input:not([type=hidden], [type=radio], [type=checkbox])"
    ).all():
        box = one.bounding_box()
        if box is None or min(box["width"], box["height"]) < 44:
            small.append(one.evaluate("one => one.outerHTML"))
    assert small == []
    assert page.evaluate("() => document.documentElement.scrollWidth") <= SIZES[size][0]
