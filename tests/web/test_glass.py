"""A procedure's preview: the tablet's own screen in a frame of the desk, and its words without a script."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from werkzeug.serving import make_server

from tests.kit.chromium import SIZES, viewport
from tests.kit.looking import faults, look
from tests.rules.example_shop import procedure_of_levels
from tests.web.conftest import Site, make_site
from tests.web.test_desk_in_chromium import sign_in
from webapp.domain.procedure import editing
from webapp.domain.procedure.shipped import SHIPPED
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.shop import procedures

GLASS = "/desk/procedures/shop/glass"
# The first step of each kind that stands at a machine whose vise is not looked at for square.
ONE_OF_EACH = {one.kind: one for one in reversed(SHIPPED.steps) if one.when != "square"}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, keys: tuple[Path, KeyRing]) -> Iterator[tuple[Site, str]]:
    """A shop whose draft differs by level, and where it is served."""
    site = make_site(tmp_path_factory.mktemp("glass"), keys)
    house = site.house
    house.signed_off()
    draft = procedures.begin(house.store, "shop", "ines", house.clock())
    procedures.edit(house.store, "shop", draft.seen, lambda _: procedure_of_levels(), "ines", house.clock())
    server = make_server("127.0.0.1", 0, site.app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield site, f"http://localhost:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()
    site.app.extensions["zerokeep"].close()
    house.store.close()


@pytest.fixture
def lead(browser: Browser, shop: tuple[Site, str], request: pytest.FixtureRequest) -> Iterator[Page]:
    context = browser.new_context(base_url=shop[1], **getattr(request, "param", {}))
    page = context.new_page()
    sign_in(page)
    yield page
    context.close()


@pytest.mark.browser
def test_each_kind_of_step_stands_on_the_glass_as_the_tablet_shows_it(lead: Page) -> None:
    complaints: list[str] = []
    lead.on("pageerror", lambda error: complaints.append(str(error)))
    lead.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    wrong: list[object] = []
    for kind, step in ONE_OF_EACH.items():
        lead.goto(f"{GLASS}?step={step.id}")
        lead.wait_for_selector('#app[data-screen="step"]')
        app = lead.locator("#app")
        assert app.get_attribute("data-step") == step.id, kind
        assert app.evaluate("one => one.inert"), "nothing on it can be pressed"
        if kind in {"search", "over", "lower", "touch"}:
            assert lead.locator("svg.drawing").count() > 0, kind
            wrong += look(lead, step.id, SIZES)
    assert (complaints, wrong) == ([], [])


@pytest.mark.browser
def test_a_step_for_one_level_stands_there_and_names_nobody_of_the_shop(lead: Page) -> None:
    for step_id in ("vise.tell", "vise.note", "vise.bare"):
        lead.goto(f"{GLASS}?step={step_id}")
        lead.wait_for_selector(f'#app[data-step="{step_id}"]')
    html = lead.content()
    assert "Somebody" in html
    assert not any(name in html for name in ("Mara", "Ivo", "Tomas"))


@pytest.mark.browser
@pytest.mark.parametrize("lead", [{"java_script_enabled": False}], indirect=True)
def test_without_a_script_the_glass_has_words_and_drawing(lead: Page) -> None:
    lead.goto(f"{GLASS}?step=x.search")
    text = lead.locator("main").inner_text()
    assert "Set search X+" in text
    assert "Correct it. Run nothing yet." in text
    assert lead.locator("svg").count() == 1


@pytest.mark.browser
def test_the_editing_page_and_the_preview_show_the_glass_in_the_chosen_size(lead: Page) -> None:
    lead.goto("/desk/procedures/shop/preview?step=z.touch&size=phone")
    frame = lead.frame_locator("#glass")
    frame.locator('#app[data-step="z.touch"]').wait_for()
    box = lead.locator("#glass").bounding_box()
    assert box is not None
    assert (round(box["width"]) - 4, round(box["height"]) - 4) == (390, 844)
    lead.goto("/desk/procedures/shop/steps/vise.tell")
    lead.locator("iframe").scroll_into_view_if_needed()
    lead.frame_locator("iframe").locator('#app[data-step="vise.tell"]').wait_for()
    assert faults(lead, "the editing page") == []
    for width in (390, 768):
        lead.set_viewport_size(viewport((width, 900)))
        assert lead.evaluate("() => document.documentElement.scrollWidth - innerWidth") <= 0


def test_the_glass_alone_may_be_framed_and_by_this_server_alone(shop: tuple[Site, str]) -> None:
    browser = shop[0].signed_in("ines")

    def policy(path: str) -> dict[str, str]:
        said = browser.get(path).headers["Content-Security-Policy"]
        return dict(one.split(" ", 1) for one in said.split("; "))

    assert policy(GLASS)["frame-ancestors"] == "'self'"
    for path in (
        "/desk",
        "/desk/procedures/shop/preview",
        "/desk/procedures/shop/steps/vise.tell",
        "/tablet",
    ):
        assert policy(path)["frame-ancestors"] == "'none'"
    assert policy("/desk/procedures/shop/preview")["frame-src"] == "'self'"
    assert "frame-src" not in policy("/desk")


def test_a_draft_that_no_tablet_could_show_says_why_on_the_glass(site: Site) -> None:
    house = site.house
    draft = procedures.begin(house.store, "shop", "ines", house.clock())
    broken = replace(editing.step_of(SHIPPED, "vise.bare"), look_for="{nonsense}")
    procedures.edit(
        house.store, "shop", draft.seen, lambda one: editing.with_step(one, broken), "ines", house.clock()
    )
    page = site.signed_in("ines").page(f"{GLASS}?step=vise.bare")
    assert "A tablet could not show this yet" in page
    assert "nonsense" in page
    assert "This step does not stand at Plover" in site.signed_in("ines").page(
        "/desk/procedures/vise-a/glass?step=y.square"
    )
