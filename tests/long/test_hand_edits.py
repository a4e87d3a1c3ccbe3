"""A slice of the hand edits: who finds what is what the table says, and what nobody finds is named so."""

from __future__ import annotations

import shutil
from pathlib import Path

from tests.long.hand_edits import ALONE, ANEW, AUDIT, HEAD, NOTED, RECORD, Edit, edits, play, shop_in

A_SLICE = 13
FILES = 4
# A value that follows from no event and that nothing else names: with a note that fits, nobody tells it.
FOLLOWS_FROM_NOTHING = {"axis_choice", "budget", "probe_care", "z_check"}
# Made again from the ledger: found whatever note was forged.
AS_SAID = {"authorisation", "person", "person_name"}


def test_who_finds_an_edit_by_hand_and_what_nobody_finds(tmp_path: Path) -> None:
    (tmp_path / "shop").mkdir()
    (tmp_path / "copy").mkdir()
    shop = shop_in(tmp_path / "shop")
    shutil.copytree(shop.folder / "records", tmp_path / "copy" / "records")
    every = list(edits(shop))
    assert len({edit.what for edit in every}) >= 60
    nobody = 0
    for edit in (*every[:-FILES:A_SLICE], *every[-FILES:]):
        found = play(shop, edit, tmp_path / "copy")
        check(edit, found, shop.record.record["ledger"]["size"])
        nobody += not found
    assert nobody, "a note forged behind the last audit is found by nobody, and the threat table says so"


def check(edit: Edit, found: set[str], record_size: int) -> None:
    told = (edit.way, edit.what, found)
    if edit.way == ALONE:
        # Without the kept head an audit has nothing to compare: whoever holds one elsewhere has.
        assert (AUDIT in found) == (edit.what != "kept head taken out"), told
        assert HEAD not in found, told
    if edit.way == NOTED:
        assert edit.table
        assert found <= {AUDIT}, told
        untold = edit.table.name in FOLLOWS_FROM_NOTHING and edit.what.endswith("changed")
        assert not (found and untold), told
        assert found or edit.table.name not in AS_SAID, told
    if edit.way == ANEW:
        assert HEAD in found, told
        assert (RECORD in found) == (edit.position is not None and edit.position < record_size), told
