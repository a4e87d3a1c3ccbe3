"""When a difference matters, and choosing where the lines lie."""

from __future__ import annotations

import json
import random
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.past import keep_past
from tests.kit.shop import CENTRES_NM
from webapp.domain.usual.choice import ChoiceUnchangedError
from webapp.domain.usual.usual import LinesChoice
from webapp.services.audit.auditing import audit
from webapp.services.errors import NoSuchFixture, ReasonMissing, RoleMissing
from webapp.services.numbers import choosing, seatings

WIDER = LinesChoice(1000, 10_000, 400_000, None)


def keep(house: House, count: int = 30) -> list[str]:
    chance = random.Random(7)
    return keep_past(house, [CENTRES_NM["X"] + round(chance.gauss(0, 12)) * 1000 for _ in range(count)])


def lines_on_sheet(house: House, axis: str = "X") -> tuple[int, int]:
    house.clock.forward(minutes=2)
    sheet = json.loads(house.sheet()[1])
    usual = next(one["usual"] for one in sheet["axes"] if one["axis"] == axis)
    return usual["ask_nm"], usual["stop_nm"]


def changes(house: House) -> list[dict[str, Any]]:
    with house.store.reading():
        newest_first = house.store.ledger.changes(kind="limit.changed")
    return [json.loads(row["text"]) for row in reversed(newest_first)]


def test_a_choice_holds_for_its_axis_from_the_next_sheet_on_and_for_no_other(house: House) -> None:
    keep(house)
    before, other_before = lines_on_sheet(house), lines_on_sheet(house, "Y")
    choosing.choose(house.store, "vise-a", "X", WIDER, "Too many asks.", "ines", house.clock())
    after = lines_on_sheet(house)
    assert after[0] > before[0]
    assert after[1] > before[1]
    assert lines_on_sheet(house, "Y") == other_before
    shown = choosing.matters(house.store, "vise-a", "X").now
    assert (shown.usual.ask_nm, shown.usual.stop_nm) == after


def test_the_ledger_has_the_choice_the_one_before_and_why(house: House) -> None:
    keep(house)
    choosing.choose(house.store, "vise-a", "X", WIDER, " Too many asks. ", "ines", house.clock())
    choosing.choose(
        house.store, "vise-a", "X", LinesChoice(50, 500, 400_000, 2.5), "Too few.", "tomas", house.clock()
    )
    first, second = changes(house)
    assert (first["by"], first["subject"], first["setup"]) == ("ines", "vise-a", None)
    assert first["data"]["reason"] == "Too many asks."
    assert first["data"]["old"] == {
        "ask_one_in": 100, "stop_one_in": 1000, "ceiling_nm": 500_000, "coverage_factor": None,
        "stop_length_nm": None, "shops": True,
    }  # fmt: skip
    assert first["data"]["new"] == second["data"]["old"]
    assert second["data"]["new"]["coverage_factor"] == 2.5
    # That past was never walked: nothing else is found.
    assert not [fault for fault in audit(house.store) if fault.code != "audit.derived"]


def test_the_shops_own_choice_takes_the_axis_own_away(house: House) -> None:
    keep(house)
    before = lines_on_sheet(house)
    choosing.choose(house.store, "vise-a", "X", WIDER, "Too many asks.", "ines", house.clock())
    choosing.choose(house.store, "vise-a", "X", LinesChoice(), "As all others.", "ines", house.clock())
    assert lines_on_sheet(house) == before
    assert not choosing.matters(house.store, "vise-a", "X").parts.has_own_choice
    choosing.choose(house.store, "vise-a", "X", WIDER, "Too many asks.", "ines", house.clock())
    choosing.choose(house.store, "vise-a", "X", None, "As all others.", "ines", house.clock())
    assert changes(house)[-1]["data"]["new"]["shops"] is True


def test_looking_at_a_choice_shows_which_past_touches_it_asks_about_and_changes_nothing(house: House) -> None:
    keep(house)
    with house.store.reading():
        size = house.store.ledger.size()
    found = choosing.matters(house.store, "vise-a", "X", LinesChoice(3, 20, 500_000, 1.0))
    assert found.looked_at is not None
    assert found.looked_at.line is not None
    assert found.now.line is not None
    ask_nm, centre_nm = found.looked_at.line.ask_nm, found.looked_at.usual.centre_nm
    assert centre_nm is not None
    values = [point.row.value_nm for point in choosing.matters(house.store, "vise-a", "X").now.beyond]
    assert values == []
    assert found.looked_at.beyond
    assert all(abs(point.row.value_nm - centre_nm) > ask_nm for point in found.looked_at.beyond)
    assert found.looked_at.line.false_asks_per_100 > found.now.line.false_asks_per_100
    assert found.looked_at.line.caught_nm < found.now.line.caught_nm
    with house.store.reading():
        assert house.store.ledger.size() == size


def test_a_value_that_was_left_out_counts_among_the_touches_a_line_would_have_asked_about(
    house: House,
) -> None:
    ids = keep(house)
    with house.store.writing():
        house.store._database.raw(
            "UPDATE kept_value SET value_nm = value_nm + 500000 WHERE setup = ?", (ids[4],)
        )
    seatings.leave_out(house.store, ids[4], "X", "A chip.", "ines", house.clock())
    beyond = choosing.matters(house.store, "vise-a", "X").now.beyond
    assert [point.row.setup_id for point in beyond] == [ids[4]]


def test_many_touches_beyond_are_counted_and_the_newest_of_them_listed_by_their_number(house: House) -> None:
    values = [CENTRES_NM["X"] + (place % 5) * 40_000 for place in range(300)]
    ids = keep_past(house, values)
    for place in (1, 150, 299):
        seatings.leave_out(house.store, ids[place], "X", "A chip.", "ines", house.clock())
    now = choosing.matters(house.store, "vise-a", "X", LinesChoice(3, 20, 500_000, 1.0)).looked_at
    assert now is not None
    centre_nm, ask_nm = now.usual.centre_nm or 0, now.usual.ask_nm or 0
    wanted = [n for n, value in enumerate(values, start=1) if abs(value - centre_nm) > ask_nm]
    assert now.beyond_count == len(wanted) > choosing.MOST_LISTED
    assert [one.number for one in now.beyond] == wanted[-choosing.MOST_LISTED :]
    assert [one.row.setup_id for one in now.beyond] == [ids[n - 1] for n in wanted[-choosing.MOST_LISTED :]]
    assert now.beyond[-1].row.left_out_reason == "A chip."


def test_without_a_value_there_are_no_lines_to_look_at(house: House) -> None:
    found = choosing.matters(house.store, "vise-a", "X")
    assert (found.now.line, found.curve, found.touches, found.now.beyond) == (None, (), 0, ())


def test_with_one_value_the_floor_rules_and_the_curve_is_there(house: House) -> None:
    keep(house, 1)
    found = choosing.matters(house.store, "vise-a", "X")
    assert found.now.line is not None
    assert "floor_rules" in found.now.usual.reasons
    asks = [line.ask_nm for line in found.curve]
    assert asks == sorted(asks)


def test_only_a_lead_chooses(house: House) -> None:
    with pytest.raises(RoleMissing):
        choosing.choose(house.store, "vise-a", "X", WIDER, "Too many asks.", "mara", house.clock())
    assert changes(house) == []


def test_a_choice_needs_a_reason(house: House) -> None:
    with pytest.raises(ReasonMissing):
        choosing.choose(house.store, "vise-a", "X", WIDER, "  ", "ines", house.clock())
    assert changes(house) == []


def test_the_choice_that_holds_is_not_saved_again(house: House) -> None:
    for choice in (LinesChoice(), None):
        with pytest.raises(ChoiceUnchangedError):
            choosing.choose(house.store, "vise-a", "X", choice, "Again.", "ines", house.clock())
    choosing.choose(house.store, "vise-a", "X", WIDER, "Too many asks.", "ines", house.clock())
    with pytest.raises(ChoiceUnchangedError):
        choosing.choose(house.store, "vise-a", "X", WIDER, "Again.", "ines", house.clock())


@pytest.mark.parametrize(("fixture", "axis"), [("vise-z", "X"), ("vise-a", "W")])
def test_a_fixture_or_an_axis_that_is_not_there_is_refused(house: House, fixture: str, axis: str) -> None:
    with pytest.raises(NoSuchFixture):
        choosing.choose(house.store, fixture, axis, WIDER, "Too many asks.", "ines", house.clock())
    with pytest.raises(NoSuchFixture):
        choosing.matters(house.store, fixture, axis)
