"""Pictures over HTTP: what a tablet may send, and who is shown what came."""

from __future__ import annotations

import json
from typing import Any

import pytest
from werkzeug.test import TestResponse

from tests.kit.pictures import jpeg
from tests.kit.taking_photos import taken, to_photo
from tests.web.conftest import Browser, Site
from webapp.proof.keys.jws import DeviceKey
from webapp.web.edge.headers import FIXED
from webapp.web.edge.strangers import AT_ONCE

AS_JPEG = {"Content_Type": "image/jpeg"}


def begun(site: Site, data: bytes | None = None, person: str = "mara") -> tuple[Any, str]:
    """A setup that stands at the step with the picture, and the picture's event, both sent."""
    walk = to_photo(site.house.walk(person).start())
    event = taken(walk, data)
    site.house.accept(walk.parts)
    return walk, event


def send(browser: Browser, event: str, data: bytes | None = None, **headers: str) -> TestResponse:
    return browser.call(f"/api/photos/{event}", jpeg() if data is None else data, **{**AS_JPEG, **headers})


def receipt(site: Site, answer: TestResponse) -> dict[str, Any]:
    assert answer.status_code == 200, answer.get_data(as_text=True)
    key = DeviceKey.from_jwk(site.house.keyring.receipt_jwk)
    found = key.verify(answer.get_json()["receipt"], "zerokeep-receipt+jws")
    return dict(json.loads(found.payload_bytes))


def test_a_picture_is_taken_with_a_signed_receipt_and_shown_to_whom_it_concerns(site: Site) -> None:
    walk, event = begun(site, person="tomas")
    told = receipt(site, send(site.browser(), event))
    assert (told["domain"], told["event"], told["outcome"]) == ("zerokeep/picture/1", event, "kept")
    path = f"/desk/setups/{walk.setup}/photos/{event}.jpg"
    for person in ("tomas", "ines", "odo"):
        answer = site.signed_in(person).get(path)
        assert answer.status_code == 200
        assert answer.headers["Content-Type"] == "image/jpeg"
        for name, value in FIXED.items():
            assert answer.headers[name] == value
        assert answer.headers["Cache-Control"] == "no-store"
        assert answer.data[:3] == b"\xff\xd8\xff"
        assert answer.data != jpeg()
    assert site.signed_in("mara").get(path).status_code == 404
    assert site.browser().get(path).status_code == 303


def test_no_picture_is_found_by_another_setup_or_another_event(site: Site) -> None:
    walk, event = begun(site)
    send(site.browser(), event)
    other = site.house.signed("mara")
    lead = site.signed_in("ines")
    for setup, named in ((other.setup, event), (walk.setup, "0" * 64), (walk.setup, "..%2f..%2fzerokeep")):
        assert lead.get(f"/desk/setups/{setup}/photos/{named}.jpg").status_code == 404


def test_a_refused_picture_is_told_with_its_reason(site: Site) -> None:
    data = b"GIF89a and no picture"
    _, event = begun(site, data)
    told = receipt(site, send(site.browser(), event, data))
    assert (told["outcome"], told["code"]) == ("refused", "picture.not_jpeg")


@pytest.mark.parametrize(
    ("more", "status"),
    [
        ({"Content_Type": "application/json"}, 415),
        ({"Content_Type": "image/png"}, 415),
        ({"X_Zerokeep": ""}, 403),
        ({"Sec_Fetch_Site": "cross-site"}, 403),
    ],
)
def test_a_picture_comes_from_a_page_of_this_server_and_as_what_it_is(
    shared_site: Site, more: dict[str, str], status: int
) -> None:
    assert send(shared_site.browser(), "0" * 64, **more).status_code == status


def test_other_calls_take_no_pictures(shared_site: Site) -> None:
    assert shared_site.browser().call("/api/reach", jpeg(), **AS_JPEG).status_code == 415


def test_a_body_beyond_what_a_tablet_sends_is_not_read(shared_site: Site) -> None:
    assert send(shared_site.browser(), "0" * 64, bytes(256 * 1024 + 1)).status_code == 413


def test_an_unknown_event_and_other_bytes_are_turned_down_and_counted_as_strangers(site: Site) -> None:
    _, event = begun(site)
    browser = site.browser()
    unknown = send(browser, "0" * 64)
    assert (unknown.status_code, unknown.get_json()["code"]) == (409, "services.photo_event_not_here")
    other = send(browser, event, jpeg() + b" ")
    assert (other.status_code, other.get_json()["code"]) == (422, "services.photo_of_other_bytes")
    statuses = [send(browser, "0" * 64).status_code for _ in range(AT_ONCE)]
    assert statuses[-1] == 429
    assert send(browser, event, jpeg() + b" ").status_code == 429
    assert receipt(site, send(browser, event))["outcome"] == "kept"  # bytes that a tablet in use signed for


def test_the_page_of_a_setup_says_of_each_picture_what_came_of_it(site: Site) -> None:
    walk, event = begun(site)
    lead = site.signed_in("ines")
    path = f"/desk/setups/{walk.setup}"
    page = lead.page(path)
    assert "The vise as found" in page
    assert "not arrived yet" in page
    assert "<img" not in page
    send(site.browser(), event)
    page = lead.page(path)
    assert f'src="{path}/photos/{event}.jpg"' in page
    assert "not arrived yet" not in page
    walk, event = begun(site, b"no picture")
    send(site.browser(), event, b"no picture")
    page = lead.page(f"/desk/setups/{walk.setup}")
    assert "Its picture was refused, because the file that came is no JPEG picture" in page
    assert "<img" not in page


def test_a_setup_without_pictures_says_nothing_of_any(site: Site) -> None:
    walk = site.house.signed("mara")
    assert "Pictures" not in site.signed_in("ines").page(f"/desk/setups/{walk.setup}")
