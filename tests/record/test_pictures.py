"""A picture that was sent is made again as pixels alone, or refused by name before it can do harm."""

from __future__ import annotations

import io
import struct

import pytest
from PIL import Image

from tests.kit.pictures import SIZE, jpeg, jpeg_that_says, tagged_jpeg
from webapp.domain.plain.errors import Finding
from webapp.domain.procedure.pictures import LARGEST_BYTES, LONGEST_SIDE_PX, Shrunk
from webapp.record.picture_room import LARGEST_CAMERA_BYTES, MOST_SCANS, START_OF_SCAN
from webapp.record.pictures import made_again, shrunk
from webapp.words import say


def opened(data: bytes | Finding) -> Image.Image:
    assert isinstance(data, bytes), data
    picture = Image.open(io.BytesIO(data))
    picture.load()
    return picture


def refused(data: bytes, width: int = SIZE[0], height: int = SIZE[1]) -> str:
    found = made_again(data, width, height)
    assert isinstance(found, Finding)
    assert say(found.code, found.fields)
    return found.code


def test_a_picture_comes_back_as_the_same_picture() -> None:
    before, after = opened(jpeg()), opened(made_again(jpeg(), *SIZE))
    assert (after.format, after.mode, after.size) == ("JPEG", "RGB", SIZE)
    for place in ((10, 10), (SIZE[0] - 10, 10), (10, SIZE[1] - 10)):
        pairs = zip(before.getpixel(place), after.getpixel(place), strict=True)
        assert all(abs(was - is_now) < 12 for was, is_now in pairs)


def test_place_time_camera_profile_and_words_stay_behind() -> None:
    data = tagged_jpeg()
    after = made_again(data, *SIZE)
    picture = opened(after)
    assert not picture.getexif()
    assert picture.info.keys() <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for word in (b"Exif", b"Somebody's camera", b"a comment", b"ICC_PROFILE", b"http://ns.adobe.com"):
        assert word in data
        assert word not in after


def test_the_way_up_that_a_file_names_is_applied_before_it_is_dropped() -> None:
    after = opened(made_again(tagged_jpeg(orientation=6), *SIZE))
    assert after.size == (SIZE[1], SIZE[0])


def test_a_file_that_is_another_thing_is_refused_whatever_it_is_called() -> None:
    png, gif = io.BytesIO(), io.BytesIO()
    Image.new("RGB", SIZE).save(png, "PNG")
    Image.new("P", SIZE).save(gif, "GIF")
    svg = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
    for data in (png.getvalue(), gif.getvalue(), svg, b"%PDF-1.7", b"\xff\xd8", b"\xff\xd8\xff", b"x"):
        assert refused(data) == "picture.not_jpeg"


@pytest.mark.parametrize(("width", "height"), [(10_000, 6_000), (65_500, 65_500), (1281, 4), (4, 1281)])
def test_a_size_beyond_what_a_tablet_sends_is_refused_from_the_header_alone(width: int, height: int) -> None:
    assert refused(jpeg_that_says(width, height), width, height) == "picture.other_size"


def test_a_picture_of_another_size_than_its_event_says_is_refused() -> None:
    assert refused(jpeg(), SIZE[0], SIZE[1] - 1) == "picture.other_size"


@pytest.mark.parametrize("kept", [200, 700])
def test_a_picture_that_was_cut_short_is_refused(kept: int) -> None:
    assert refused(jpeg()[:kept]) in {"picture.broken", "picture.not_jpeg"}


def test_a_picture_of_very_many_layers_is_refused_before_it_keeps_a_processor_busy() -> None:
    data = jpeg(progressive=True)
    first = data.index(START_OF_SCAN)
    length = 2 + struct.unpack(">H", data[first + 2 : first + 4])[0]
    many = data[:-2] + data[first : first + length] * (MOST_SCANS + 1) + data[-2:]
    assert refused(many) == "picture.too_many_scans"
    assert isinstance(made_again(data, *SIZE), bytes)


def test_a_file_behind_the_picture_does_not_come_with_it() -> None:
    after = made_again(jpeg() + b"PK\x03\x04 and a script", *SIZE)
    assert isinstance(after, bytes)
    assert b"PK\x03\x04" not in after


def test_more_bytes_than_a_tablet_sends_are_refused() -> None:
    assert refused(jpeg() + bytes(256 * 1024)) == "picture.too_many_bytes"


def small(data: bytes) -> Shrunk:
    found = shrunk(data)
    assert isinstance(found, Shrunk), found
    return found


def not_taken(data: bytes) -> str:
    found = shrunk(data)
    assert isinstance(found, Finding)
    assert say(found.code, found.fields)
    return found.code


def test_a_camera_s_picture_becomes_small_and_leaves_place_time_and_camera_behind() -> None:
    found = small(tagged_jpeg(orientation=6, size=(4000, 3000)))
    picture = opened(found.data)
    assert picture.size == (found.width, found.height) == (768, LONGEST_SIDE_PX), "upright, as it was held"
    assert len(found.data) <= LARGEST_BYTES
    assert not picture.getexif()
    for word in (b"Exif", b"Somebody's camera", b"a comment", b"ICC_PROFILE", b"http://ns.adobe.com"):
        assert word not in found.data


def test_a_small_picture_stays_as_large_as_it_is_and_one_of_noise_is_made_small_all_the_same() -> None:
    assert small(jpeg())[1:] == SIZE
    noise = io.BytesIO()
    Image.effect_noise((2000, 2000), 100).convert("RGB").save(noise, "JPEG", quality=95)
    found = shrunk(noise.getvalue())
    assert found == Finding("picture.not_small_enough") or len(small(noise.getvalue()).data) <= LARGEST_BYTES


def test_sixty_megapixels_are_refused_from_the_header_alone() -> None:
    assert not_taken(jpeg_that_says(10_000, 6_000)) == "picture.too_many_pixels"
    assert not_taken(jpeg_that_says(65_500, 65_500)) == "picture.too_many_pixels"


def test_a_broken_a_disguised_an_empty_and_a_far_too_large_file_are_no_picture_of_a_step() -> None:
    png = io.BytesIO()
    Image.new("RGB", SIZE).save(png, "PNG")
    assert not_taken(png.getvalue()) == "picture.not_jpeg"
    assert not_taken(b"<svg/>") == "picture.not_jpeg"
    assert not_taken(jpeg()[:900]) in {"picture.broken", "picture.not_jpeg"}
    assert not_taken(b"") == "picture.too_large_a_file"
    assert not_taken(jpeg() + bytes(LARGEST_CAMERA_BYTES)) == "picture.too_large_a_file"
