"""A slice of the hand edits: who finds what is what the table says, and what nobody finds is named so."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.long.hand_edits import (
    ALONE,
    ANEW,
    AUDIT,
    HEAD,
    NOTED,
    RECORD,
    Edit,
    Shop,
    edits,
    open_file,
    play,
    row_edits,
    shop_in,
)
from webapp.store.covered_rows import COVERED, ONLY_NOTED, Covered

A_SLICE = 13
FILES = 4


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return shop_in(tmp_path_factory.mktemp("shop"))


@pytest.fixture
def copy(shop: Shop, tmp_path: Path) -> Path:
    shutil.copytree(shop.folder / "records", tmp_path / "records")
    return tmp_path


def test_who_finds_an_edit_by_hand(shop: Shop, copy: Path) -> None:
    every = list(edits(shop))
    assert len({edit.what for edit in every}) >= 200
    for edit in [*every[:-FILES:A_SLICE], *every[-FILES:]]:
        check(edit, play(shop, edit, copy), shop.record.record["ledger"]["size"])


@pytest.mark.parametrize("table", COVERED, ids=lambda one: one.name)
def test_a_forged_note_of_any_column_is_found_or_said_not_to_be(
    shop: Shop, copy: Path, table: Covered
) -> None:
    connection = open_file(shop.folder)
    forged = [one for one in row_edits(connection) if one.table == table and one.way == NOTED]
    connection.close()
    assert len(forged) >= 2
    for edit in forged:
        found = play(shop, edit, copy)
        assert found == (set() if untold(edit) else {AUDIT}), (edit.what, found)


def untold(edit: Edit) -> bool:
    """Whether it is listed that nothing but its note tells of what is changed."""
    return edit.what.removesuffix(" changed").removesuffix(" taken out") in ONLY_NOTED


def check(edit: Edit, found: set[str], record_size: int) -> None:
    told = (edit.way, edit.what, found)
    if edit.way == ALONE:
        assert AUDIT in found, told
        assert HEAD not in found, told
    if edit.way == NOTED:
        assert found == (set() if untold(edit) else {AUDIT}), told
    if edit.way == ANEW:
        assert HEAD in found, told
        assert (RECORD in found) == (edit.position is not None and edit.position < record_size), told
