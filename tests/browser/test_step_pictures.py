"""A picture in a step, at a real tablet: added at the desk, fetched once by its hash, shown offline."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page, Route

from tests.kit.chromium import SIZES
from tests.kit.demo import Demo, now
from tests.kit.desk import Desk
from tests.kit.looking import faults, look
from tests.kit.pictures import tagged_jpeg
from tests.kit.server import Server
from tests.kit.tablet import NewTablet, Tablet, operator
from webapp.services.shop import procedures, publishing

SHOWS = "The jaw as it should look, wiped."
STEP = "/desk/procedures/shop/steps/vise.wipe"
# A point of the wiped area and one of the jaw's dark side, as the invented picture has them.
COLOURS = """() => {
  const canvas = document.querySelector('.step-picture canvas');
  const at = (x, y) => [...canvas.getContext('2d').getImageData(
    Math.round(canvas.width * x), Math.round(canvas.height * y), 1, 1).data].slice(0, 3);
  return [at(0.3, 0.7), at(0.7, 0.7)];
}"""


def add_picture(page: Page, server: Server, demo: Demo, folder: Path) -> None:
    """As a lead does: begin a draft, add the picture, look, publish."""
    desk = Desk(page, server.address)
    desk.sign_in("mara", demo.people["mara"])
    desk.open("/desk/procedures/shop")
    page.get_by_role("button", name="Begin a draft").click()
    desk.open(STEP)
    page.get_by_role("link", name="Add a picture").click()
    file = folder / "camera.jpg"
    file.write_bytes(tagged_jpeg(size=(2400, 1800)))
    page.set_input_files("#file", file)
    page.fill("#shows", SHOWS)
    page.get_by_role("button", name="Keep in the draft").click()
    page.wait_for_url(f"**{STEP}")
    page.locator("iframe").scroll_into_view_if_needed()
    page.frame_locator("iframe").locator('[data-picture="shown"]').wait_for()
    with demo.opened() as (store, _):
        draft = procedures.draft(store, "shop")
        looked = publishing.look(store, "shop", draft.seen, "mara").digest
        publishing.publish(store, "shop", draft.seen, looked, "The jaw.", "mara", now())


def held(tablet: Tablet) -> list[str]:
    return [row["sha256"] for row in tablet.rows("step_pictures")]


def test_a_picture_that_a_lead_adds_stands_on_the_tablet_without_the_network(
    server: Server, demo: Demo, new_tablet: NewTablet, tmp_path: Path
) -> None:
    asked: list[str] = []
    tablet = new_tablet()
    page = tablet.page
    assert held(tablet) == []
    add_picture(page.context.new_page(), server, demo, tmp_path)

    def counted(route: Route) -> None:
        asked.append(route.request.url)
        route.continue_()

    page.route("**/api/step-picture", counted)
    tablet.reload()
    for _ in range(600):
        if held(tablet):
            break
        page.wait_for_timeout(100)
    assert len(held(tablet)) == 1
    server.kill()
    tablet.reload()
    tablet.begin("plover", "odile")
    odile = operator(tablet, demo)
    odile.walk(until="vise.wipe")
    page.locator('[data-picture="shown"]').wait_for()
    picture = page.get_by_role("img", name=SHOWS)
    assert picture.is_visible()
    wiped, dark = page.evaluate(COLOURS)
    assert all(value > 150 for value in wiped)
    assert all(value < 110 for value in dark)
    wrong = look(page, "a picture", SIZES) + faults(page, "a picture")
    assert wrong == [], "\n".join(map(str, wrong))
    tablet.tap("go")
    server.start()
    tablet.all_sent()
    assert len(asked) == 1, "fetched once"
