"""`zerokeep move`: says what went over, and refuses what is no other database."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.kit.postgresql import server
from webapp.cli import main
from webapp.store import Store


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Store]:
    store = Store.open(tmp_path / "zerokeep.db")
    with store.writing():
        store.people.add("mara", "Mara Okafor", ["operator"], "5a" * 32)
        store.ledger.append_change("{}", kind="t", by="b", subject="s", setup=None, at_utc="a")
    yield store
    store.close()


def test_a_shop_is_moved_to_a_server(kept: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    address = server().emptied()
    kept.close()
    assert main(["move", "--data-folder", str(tmp_path), "--to", address]) == 0
    said = capsys.readouterr().out
    assert "Carried over: 7 rows, the same on both sides, into the database shop at" in said
    assert "the same 1 entries" in said
    there = Store.open(address, tmp_path)
    with there.reading():
        assert [row["id"] for row in there.people.everybody()] == ["mara"]
    there.close()
    assert main(["move", "--data-folder", str(tmp_path), "--to", address]) != 0
    assert "Something is kept there already" in capsys.readouterr().err


@pytest.mark.parametrize("to", ["mysql://db/shop", "{folder}/zerokeep.db"])
def test_what_is_no_other_database_is_refused(
    kept: Store, tmp_path: Path, to: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with kept.reading():
        assert len(kept.people.everybody()) == 1
    assert main(["move", "--data-folder", str(tmp_path), "--to", to.format(folder=tmp_path)]) != 0
    assert "postgresql://" in capsys.readouterr().err
