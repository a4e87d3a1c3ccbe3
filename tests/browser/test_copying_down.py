"""Old values that are another row's:
the label is asked for before anything is named, and nothing is cleared.
"""

from __future__ import annotations

from tests.kit.demo import AXES, Demo
from tests.kit.tablet import Operator


def values_of(hand: Operator, label: str) -> list[str]:
    row = next(one for one in hand.tablet.sheet("plover")["slots"] if one["label"] == label)
    return [hand.mill.text(row["last_values_nm"][axis]) for axis in AXES]


def somebody_elses(hand: Operator) -> str:
    """The label of another person's row that was seen with values."""
    rows = hand.tablet.sheet("plover")["slots"]
    return next(
        str(row["label"])
        for row in rows
        if row["label"] != hand.slot and row["last_values_nm"] and any(row["last_values_nm"].values())
    )


def test_anothers_values_ask_for_the_label_and_lead_back_to_the_own_slot(odile: Operator) -> None:
    tablet = odile.tablet
    other = somebody_elses(odile)
    odile.walk(until="copy.values")
    for text in values_of(odile, other):
        tablet.enter(text)
    assert "Which label stands beside these three values?" in tablet.text()
    assert other not in tablet.page.locator("main").inner_text(), "no row is named before the label is typed"
    tablet.type(other)
    tablet.tap("label")
    assert tablet.step == "slot.own"
    assert f"Those values are {other}'s" in tablet.text()
    assert "Nothing was cleared." in tablet.text()
    odile.walk(until="clear.values")
    kinds = [row["payload"]["type"] for row in tablet.events()]
    assert kinds.count("values.copied") == 2
    assert "slot.cleared" not in kinds


def test_without_the_network_too_and_the_own_label_beside_them_is_a_copied_row(odile: Operator) -> None:
    tablet, other = odile.tablet, somebody_elses(odile)
    tablet.page.context.set_offline(True)
    for label in (other, odile.slot):
        odile.walk(until="copy.values")
        for text in values_of(odile, other):
            tablet.enter(text)
        assert "Which label stands beside these three values?" in tablet.text()
        if label == other:
            tablet.type(label)
            tablet.tap("label")
            assert tablet.step == "slot.own"
            assert f"Those values are {other}'s" in tablet.text()
    tablet.type(odile.slot)
    tablet.tap("label")
    assert tablet.step == "clear.values"


def test_another_row_cleared_by_mistake_is_put_back_with_the_lead(odile: Operator, demo: Demo) -> None:
    tablet, other = odile.tablet, somebody_elses(odile)
    odile.walk(until="clear.values")
    old = tablet.events_of("values.copied")[-1]["data"]["typed"]
    odile.close("clear")
    tablet.tap("off")
    tablet.tap("put-back")
    tablet.tap("lead", "mara")
    tablet.type(other)
    tablet.tap("put-back-label")
    for axis in AXES:
        tablet.enter(old[axis].replace("−", "-"))
    tablet.page.fill("#pin", demo.people["mara"].pin)
    tablet.tap("put-back")
    assert tablet.step == "slot.own", "the own slot is begun anew"
    assert tablet.events_of("row.put_back")[-1]["data"]["label"] == other
