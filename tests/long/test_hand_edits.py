"""A slice of the hand edits: who finds what is what the table says, and what nobody finds is named so."""

from __future__ import annotations

from pathlib import Path

from tests.long.hand_edits import ALONE, ANEW, AUDIT, HEAD, NOTED, RECORD, Edit, edits, play, shop_in

A_SLICE = 13
# A value that follows from no event and that nothing else names: with a note that fits, nobody tells it.
FOLLOWS_FROM_NOTHING = {"authorisation", "axis_choice", "budget", "person", "probe_care", "z_check"}


def test_who_finds_an_edit_by_hand_and_what_nobody_finds(tmp_path: Path) -> None:
    (tmp_path / "shop").mkdir()
    (tmp_path / "copy").mkdir()
    shop = shop_in(tmp_path / "shop")
    (shop.folder / "records").rename(tmp_path / "copy" / "records")
    every = list(edits(shop))
    assert len({edit.what for edit in every}) >= 60
    nobody = 0
    for edit in every[::A_SLICE]:
        found = play(shop, edit, tmp_path / "copy")
        check(edit, found, shop.record.record["ledger"]["size"])
        nobody += not found
    assert nobody, "a note forged behind the last audit is found by nobody, and the threat table says so"


def check(edit: Edit, found: set[str], record_size: int) -> None:
    told = (edit.way, edit.what, found)
    if edit.way == ALONE:
        assert AUDIT in found, told
        assert HEAD not in found, told
    if edit.way == NOTED:
        assert edit.table
        assert found <= {AUDIT}, told
        untold = edit.table.name in FOLLOWS_FROM_NOTHING and edit.what.endswith("changed")
        assert not (found and untold), told
    if edit.way == ANEW:
        assert HEAD in found, told
        assert (RECORD in found) == (edit.position is not None and edit.position < record_size), told
