"""Sheets and folds are what their types say: every name declared, and nothing left out that is declared."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests.evidence.making import SAID, restored
from tests.kit.typed import misfits
from tests.rules.example_shop import sheet_value
from tests.rules.playing import play
from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.setup.fold import fold
from webapp.services.setups import stored_setups
from webapp.store import Store

SETS = sorted(path.parent for path in Path(__file__).parent.glob(f"*/{SAID}"))
VECTORS = Path(__file__).parents[1] / "vectors" / "setups.json"
SCENARIOS = json.loads(VECTORS.read_text(encoding="utf-8"))["scenarios"]


@cache
def sheet_of(name: str) -> Any:
    """The example sheet as it is once it was written."""
    return json.loads(json.dumps(sheet_value(name)))


@pytest.mark.parametrize("name", ["mm", "inch"])
def test_a_sheet_of_now_is_as_declared(name: str) -> None:
    assert list(misfits(sheet_of(name), WrittenSheet)) == []


def test_a_name_too_many_one_too_few_and_another_kind_are_seen() -> None:
    sheet = sheet_of("mm")
    assert list(misfits({**sheet, "more": 1}, WrittenSheet)) == [".more: not declared"]
    assert list(misfits({**sheet, "axes": None}, WrittenSheet)) == [".axes: no list"]
    less = {name: value for name, value in sheet.items() if name != "procedure"}
    assert list(misfits(less, WrittenSheet)) == [".procedure: missing"]
    other = {**sheet, "machine": {**sheet["machine"], "decimals": "3"}}
    assert list(misfits(other, WrittenSheet)) == [".machine.decimals: '3' is no int"]


@pytest.mark.parametrize("folder", SETS, ids=lambda folder: folder.name)
def test_sheets_and_setups_of_earlier_editions_are_as_declared(folder: Path, tmp_path: Path) -> None:
    store = Store.open(restored(folder, tmp_path))
    with store.reading():
        sheets = [json.loads(row["text"]) for row in store.sheets.all_sheets()]
        states = [stored_setups.fold_stored(store, row["id"]) for row in store.setups.setups()]
    assert sheets
    assert states
    assert [one for sheet in sheets for one in misfits(sheet, WrittenSheet)] == []
    assert [one for state in states for one in misfits(state, Folded)] == []


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario["name"])
def test_what_the_fold_gives_is_as_declared(scenario: dict[str, Any]) -> None:
    sheet = sheet_of(scenario.get("sheet", "mm"))
    assert list(misfits(fold(sheet, *play(sheet, scenario)), Folded)) == []
