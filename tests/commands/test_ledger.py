"""`zerokeep ledger`: the changes as they were hashed, from where a collector left off."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from webapp.cli import main
from webapp.commands import ledger
from webapp.services.setups import answering
from webapp.store.repositories.ledger import LedgerRepository


def written_out(folder: Path, capsys: pytest.CaptureFixture[str], *more: str) -> list[Any]:
    assert main(["ledger", "--data-folder", str(folder), *more]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_changes_come_in_order_with_the_head_last_and_a_collector_goes_on_where_it_left_off(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "shop").mkdir()
    house = House(tmp_path / "shop", fixed_keyring(tmp_path / "keys", Clock()))
    walk = house.walk().start()
    house.accept(walk.parts)
    *first, head = written_out(house.folder, capsys)
    with house.store.reading():
        rows = house.store.ledger.changes_between(0, 10_000)
        size, root = house.store.ledger.size(), house.store.ledger.root().hex()
    assert [line["position"] for line in first] == [row["position"] for row in rows]
    assert [line["change"] for line in first] == [json.loads(row["text"]) for row in rows]
    assert head == {"head": {"size": size, "root": root}}
    assert written_out(house.folder, capsys, "--after", str(size - 1)) == [head]
    question = walk.question(1, None)
    house.accept(walk.parts)
    answering.answer(house.store, question, "ines", "go_on", "Fine.", house.clock())
    *later, _ = written_out(house.folder, capsys, "--after", str(size - 1))
    assert [line["change"]["type"] for line in later] == ["question.answered"]
    house.store.close()


def test_a_folder_without_a_shop_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ledger", "--data-folder", str(tmp_path / "nowhere")]) == 2
    assert "no shop in" in capsys.readouterr().err


def test_nobody_is_kept_from_writing_while_a_line_is_printed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "shop").mkdir()
    house = House(tmp_path / "shop", fixed_keyring(tmp_path / "keys", Clock()))
    with house.store.reading():
        size = house.store.ledger.size()
    monkeypatch.setattr(ledger, "AT_A_TIME", 3)
    stretches: list[tuple[int, int]] = []
    read = LedgerRepository.changes_between

    def noted(self: LedgerRepository, first: int, before: int) -> Any:
        stretches.append((first, before))
        return read(self, first, before)

    monkeypatch.setattr(LedgerRepository, "changes_between", noted)
    assert len(written_out(house.folder, capsys)) == size + 1  # and the head
    assert stretches == [(first, min(first + 3, size)) for first in range(0, size, 3)]
