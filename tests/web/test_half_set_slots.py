"""A slot that a setup left half set is marked by a word and a shape, on the register and on the board."""

from tests.web.conftest import Site


def broken_off(site: Site) -> str:
    """A setup that was broken off after X, hours ago; its slot."""
    house = site.house
    walk = house.walk().start().until("touch", "Y")
    walk.event("setup.broken_off", {}, walk.step["id"])
    house.accept(walk.parts)
    house.clock.forward(hours=3)
    slot: str = walk.fold.result()["slot"]
    return slot


def test_the_register_and_the_board_say_which_slot_is_half_set(site: Site) -> None:
    slot = broken_off(site)
    register = site.signed_in("ines").page("/desk/slots")
    assert "half set: no Y, Z</span>" in register
    board = site.browser().page("/")
    assert (
        f'<span class="half-mark" aria-hidden="true"></span> Slot {slot} was left half set, without Y, Z'
        in board
    )


def test_whole_slots_carry_no_mark(site: Site) -> None:
    site.house.signed()
    site.house.clock.forward(hours=3)
    assert "half set: no" not in site.signed_in("ines").page("/desk/slots")
    assert "half set" not in site.browser().page("/")
