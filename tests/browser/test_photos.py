"""A picture is offered, taken, kept without the network and sent behind the events; nothing waits for it."""

from __future__ import annotations

import io
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import FileChooser, Page, Route

from tests.kit.chromium import SIZES
from tests.kit.demo import Demo
from tests.kit.looking import faults, look, look_twice
from tests.kit.pictures import jpeg, tagged_jpeg
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet
from webapp.domain.evidence.event_kinds import LARGEST_PHOTO_BYTES, LONGEST_PHOTO_SIDE_PX

CAMERA = (2400, 1800)
BYTES_OF = """async event => {
  const database = await new Promise((resolve, reject) => {
    const request = indexedDB.open('zerokeep');
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  const row = await new Promise(resolve => {
    const request = database.transaction('photos').objectStore('photos').get(event);
    request.onsuccess = () => resolve(request.result);
  });
  database.close();
  return [...row.bytes];
}"""
NO_ROOM = """() => {
  navigator.storage.estimate = async () => ({usage: 60_000_000, quota: 100_000_000});
}"""


def photograph(tablet: Tablet, folder: Path, data: bytes) -> None:
    """Press the button and give the camera's file."""
    file = folder / "camera.jpg"
    file.write_bytes(data)
    tablet.settled()
    with tablet.page.expect_file_chooser() as chooser:
        tablet.find("photo").click()
    chooser.value.set_files(file)


def standing(page: Page, stands: str) -> None:
    page.wait_for_selector(f'[data-photo="{stands}"]', timeout=60_000)


def taken(tablet: Tablet) -> list[dict[str, Any]]:
    return tablet.events_of("photo.taken")


def test_a_picture_taken_without_the_network_is_sent_behind_the_events_and_shown_at_the_desk(
    odile: Operator, server: Server, demo: Demo, tmp_path: Path
) -> None:
    tablet, page = odile.tablet, odile.tablet.page
    odile.walk(until="vise.wipe")
    tablet.all_sent()
    server.kill()
    photograph(tablet, tmp_path, tagged_jpeg(size=CAMERA))
    standing(page, "kept")
    (event,) = taken(tablet)
    said, id_ = event["data"], tablet.events()[-1]["id"]
    data = bytes(page.evaluate(BYTES_OF, id_))
    assert (said["sha256"], said["bytes"]) == (sha256(data).hexdigest(), len(data))
    picture = Image.open(io.BytesIO(data))
    assert (picture.format, picture.size) == ("JPEG", (said["width"], said["height"]))
    assert max(picture.size) == LONGEST_PHOTO_SIDE_PX
    assert len(data) <= 200_000 < LARGEST_PHOTO_BYTES
    assert not picture.getexif()
    assert b"Exif" not in data
    assert b"Somebody's camera" not in data
    tablet.reload()
    standing(page, "kept")
    tablet.tap("go")  # the step goes on
    server.start()
    tablet.all_sent()
    (row,) = tablet.rows("photos")
    assert row["outcome"]["outcome"] == "kept"
    kept = list((demo.folder / "photos").glob("*/*"))
    assert len(kept) == 1
    assert Image.open(io.BytesIO(kept[0].read_bytes())).size == picture.size


def test_a_picture_that_is_taken_again_takes_the_place_of_the_first_and_both_are_sent(
    odile: Operator, tmp_path: Path
) -> None:
    tablet, page = odile.tablet, odile.tablet.page
    odile.walk(until="stow.gone")
    assert "Take a picture" in page.locator(".photo").inner_text()
    photograph(tablet, tmp_path, jpeg(CAMERA))
    standing(page, "sent")
    wrong = [*look(page, "taken", SIZES), *look_twice(page, "taken", SIZES), *faults(page, "taken")]
    assert wrong == [], "\n".join(map(str, wrong))
    assert "The probe as left, taken" in str(page.locator(".photo-preview").get_attribute("aria-label"))
    assert page.locator(".photo-preview").evaluate(
        "canvas => canvas.getContext('2d').getImageData(20, 20, 1, 1).data[3]"
    )
    photograph(tablet, tmp_path, jpeg((800, 1200)))
    page.wait_for_function("() => document.querySelector('.photo-preview')?.height > 300")
    tablet.all_sent()
    standing(page, "sent")
    assert [(one["data"]["width"], one["data"]["height"]) for one in taken(tablet)] == [
        (1280, 960),
        (800, 1200),
    ]
    assert [row["outcome"]["outcome"] for row in tablet.rows("photos")] == ["kept", "kept"]


def test_what_is_no_picture_and_a_full_tablet_are_said_and_the_step_goes_on(
    odile: Operator, tmp_path: Path
) -> None:
    tablet, page = odile.tablet, odile.tablet.page
    odile.walk(until="vise.wipe")
    photograph(tablet, tmp_path, b"no picture at all")
    page.get_by_text("This file cannot be read as a picture.").wait_for()
    page.evaluate(NO_ROOM)
    photograph(tablet, tmp_path, jpeg())
    page.get_by_text("There is too little room left on this tablet").wait_for()
    wrong = [*look(page, "no room", SIZES), *faults(page, "no room")]
    assert wrong == [], "\n".join(map(str, wrong))
    assert taken(tablet) == tablet.rows("photos") == []
    tablet.tap("go")
    assert tablet.step == "vise.bare"


@pytest.mark.parametrize("refused", ["QuotaExceededError"])
def test_where_the_browser_refuses_the_write_neither_event_nor_picture_is_kept(
    odile: Operator, tmp_path: Path, refused: str
) -> None:
    tablet, page = odile.tablet, odile.tablet.page
    odile.walk(until="vise.wipe")
    before = len(tablet.events())
    page.evaluate(
        """name => {
          const put = IDBObjectStore.prototype.put;
          IDBObjectStore.prototype.put = function (...given) {
            if (this.name === 'photos') throw new DOMException('full', name);
            return put.apply(this, given);
          };
        }""",
        refused,
    )
    photograph(tablet, tmp_path, jpeg())
    page.get_by_text("There is too little room left on this tablet").wait_for()
    assert len(tablet.events()) == before
    tablet.tap("go")
    tablet.all_sent()


def test_a_picture_that_the_server_does_not_keep_is_told_on_its_step(odile: Operator, tmp_path: Path) -> None:
    tablet, page = odile.tablet, odile.tablet.page
    odile.walk(until="vise.wipe")
    page.route("**/api/photos/*", lambda route: route.fulfill(status=503, body="{}"))
    photograph(tablet, tmp_path, jpeg())
    standing(page, "kept")
    tablet.sync()
    page.wait_for_selector('[data-network="waiting"][data-waiting="0"]')
    assert "1 picture waiting" in page.locator("[data-network]").inner_text()
    page.reload()  # no rest is kept over a reload
    page.unroute("**/api/photos/*")
    tablet.settled()
    standing(page, "sent")


def test_what_kept_a_picture_away_is_not_said_in_the_next_persons_setup(
    odile: Operator, tmp_path: Path
) -> None:
    tablet, page = odile.tablet, odile.tablet.page
    odile.walk(until="vise.wipe")
    photograph(tablet, tmp_path, b"no picture at all")
    page.get_by_text("This file cannot be read as a picture.").wait_for()
    odile.end_for_practice()
    tablet.tap("another")
    tablet.begin("plover", "odile")
    odile.walk(until="vise.wipe")
    assert page.locator(".photo").count() == 1
    assert page.locator(".photo-trouble").count() == 0


def under_way(odile: Operator, folder: Path) -> list[Route]:
    """Take a picture whose way to the server is held up; what holds it up."""
    held: list[Route] = []
    odile.tablet.page.route("**/api/photos/*", lambda route: held.extend([route]))
    odile.walk(until="vise.wipe")
    photograph(odile.tablet, folder, jpeg())
    standing(odile.tablet.page, "kept")
    return held


def arrives(tablet: Tablet, held: list[Route]) -> None:
    """Let the picture go on, and wait until the screen was brought up to date by the server's answer."""
    for _ in range(600):
        if held:
            break
        tablet.page.wait_for_timeout(50)
    tablet.page.evaluate("() => { document.getElementById('heading').dataset.seen = '1'; }")
    held[0].continue_()
    tablet.page.wait_for_function("() => document.getElementById('heading').dataset.seen === undefined")


def test_a_pin_that_is_being_typed_stays_while_the_answer_about_a_picture_comes(
    odile: Operator, tmp_path: Path
) -> None:
    tablet, page = odile.tablet, odile.tablet.page
    held = under_way(odile, tmp_path)
    tablet.tap("off")
    tablet.tap("break-off")
    tablet.tap("break-reason", "practice")
    odile.walk(until="sign.name")
    page.locator("#pin").focus()
    page.keyboard.type(odile.pin[:-1])
    arrives(tablet, held)
    assert page.locator("#pin").input_value() == odile.pin[:-1]
    page.keyboard.type(odile.pin[-1])
    assert page.locator("#pin").input_value() == odile.pin, "the cursor stayed too"


def test_what_was_ticked_about_a_move_stays_while_the_answer_about_a_picture_comes(
    odile: Operator, tmp_path: Path
) -> None:
    """Whether the ball touched something decides whether the probe's input is looked at again."""
    tablet = odile.tablet
    held = under_way(odile, tmp_path)
    tablet.tap("hold")
    tablet.tap("trouble", "held")
    tablet.settled()
    tablet.page.locator('[data-action="touched"]').check()
    arrives(tablet, held)
    assert tablet.page.locator('[data-action="touched"]').is_checked()
    assert not tablet.page.locator('[data-action="reset"]').is_checked()
    tablet.tap("trouble-met")
    assert tablet.events_of("trouble.met")[0]["data"] == {"trouble": "held", "touched": True, "reset": False}


def test_the_offer_is_reached_and_pressed_by_keys_alone(odile: Operator) -> None:
    tablet, page = odile.tablet, odile.tablet.page
    asked: list[FileChooser] = []
    page.on(
        "filechooser", lambda found: asked.extend([found])
    )  # from here on, so that the first press is seen
    odile.walk(until="vise.wipe")
    tablet.settled()
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement?.dataset.action") == "photo":
            break
    group = page.get_by_role("group", name="A picture: The vise as found")
    assert group.get_by_role("button", name="Take a picture").evaluate(
        "one => one === document.activeElement"
    )
    page.keyboard.press("Enter")
    for _ in range(100):
        if asked:
            break
        page.wait_for_timeout(50)
    assert asked[0].element.get_attribute("accept") == "image/*"
    assert asked[0].element.get_attribute("capture") == "environment"
    assert tablet.step == "vise.wipe"


def test_a_step_without_an_offer_has_none(odile: Operator) -> None:
    odile.walk(until="vise.bring")
    assert odile.tablet.page.locator(".photo").count() == 0
