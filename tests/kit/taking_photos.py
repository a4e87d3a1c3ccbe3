"""A walk that takes pictures: the event, and the file that is sent behind it."""

from __future__ import annotations

from tests.kit.house import House
from tests.kit.pictures import SIZE, claim, jpeg
from tests.kit.walk import Walk
from webapp.record.pictures import made_again
from webapp.services.intake import pictures

OFFERED = {"vise.wipe", "stow.gone"}


def to_photo(walk: Walk, step: str = "vise.wipe") -> Walk:
    """Answer steps until this one is open, which offers a picture."""
    while walk.step["id"] != step:
        walk.answer()
    return walk


def taken(walk: Walk, data: bytes | None = None, size: tuple[int, int] = SIZE) -> str:
    """Take a picture at the open step; the id of its event."""
    said = claim(jpeg(size) if data is None else data, size)
    return str(walk.event("photo.taken", said, walk.step["id"])["id"])


def sent(house: House, event: str, data: bytes | None = None) -> pictures.PictureReceipt:
    """Send the file of a picture as its tablet does."""
    found = jpeg() if data is None else data
    return pictures.take_picture(house.store, event, found, made_again, house.clock())


def signed_off(house: House) -> tuple[Walk, str]:
    """A setup with one picture that came, signed off by the lead, and the picture's event."""
    walk = to_photo(house.walk().start())
    event = taken(walk)
    walk.until("sign")
    finish(house, walk)
    assert sent(house, event)["outcome"] == "kept"
    house.clock.forward(minutes=1)
    house.sign_off(walk.setup)
    return walk, event


def finish(house: House, walk: Walk) -> None:
    """Sign and send a walk; the lead answers what was asked."""
    from tests.kit.shop import PINS  # noqa: PLC0415

    walk.sign(PINS[walk.person], house.keyring)
    house.accept(walk.parts)
    house.answer_all("First value here.")
