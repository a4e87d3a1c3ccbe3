"""`zerokeep head`: the head of now, and whether the ledger still has one that was kept elsewhere."""

import json
import shutil
from pathlib import Path

import pytest

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from webapp.cli import main
from webapp.domain.evidence.checkpoint import Checkpoint
from webapp.proof.keys.key_ring import new_head_signer


def test_a_head_that_was_kept_is_had_for_ever_and_no_longer_once_the_ledger_went_back_or_is_another(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def asked(*more: str, status: int = 0) -> str:
        assert main(["head", "--data-folder", str(house.folder), *more]) == status
        return capsys.readouterr().out

    (tmp_path / "shop").mkdir()
    house = House(tmp_path / "shop", fixed_keyring(tmp_path / "keys", Clock()))
    house.store.close()
    shutil.copy(house.folder / "zerokeep.db", tmp_path / "before.db")
    before = asked().split()
    house.accept(house.walk().start().parts)
    house.store.close()
    now = asked().split()
    assert int(now[0]) > int(before[0])
    assert "has this head" in asked("--compare", *before)
    grouped = " ".join(now[1][start : start + 4] for start in range(0, 64, 4)).upper()
    assert json.loads(asked("--json", "--compare", now[0], grouped))["holds"]
    assert "written anew" in asked("--compare", before[0], now[1], status=1)
    shutil.copy(tmp_path / "before.db", house.folder / "zerokeep.db")
    assert "brought back from a backup" in asked("--compare", *now, status=1)


def test_a_restore_is_accepted_by_name_with_its_reason(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", "four plain words here")
    (tmp_path / "shop").mkdir()
    house = House(tmp_path / "shop")
    house.store.close()
    (house.folder / "ledger-head.json").write_text(json.dumps({"size": 900, "root": "ab" * 32}))
    here = ["--data-folder", str(house.folder)]
    assert main(["head", *here, "--restored", " "]) == 2
    assert main(["audit", *here]) == 1
    assert "zerokeep head --restored REASON" in capsys.readouterr().out
    assert main(["head", *here, "--restored", "The disk failed."]) == 0
    assert main(["audit", *here]) == 0


def test_what_is_no_head_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for wrong in (("7", "ab"), ("-1", "ab" * 32), ("7", "gg" * 32)):
        assert main(["head", "--data-folder", str(tmp_path), "--compare", *wrong]) == 2
        assert "64 hexadecimal digits" in capsys.readouterr().err
    assert main(["head", "--data-folder", str(tmp_path / "nowhere")]) == 2


def test_that_the_ledger_only_grew_is_proven_without_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "shop").mkdir()
    house = House(tmp_path / "shop", fixed_keyring(tmp_path / "keys", Clock()))
    with house.store.reading():
        before, root = house.store.ledger.size(), house.store.ledger.root().hex()
    house.accept(house.walk().start().parts)
    house.store.close()
    here = ["--data-folder", str(house.folder)]
    assert main(["head", *here, "--since", str(before)]) == 0
    proof = json.loads(capsys.readouterr().out)
    assert proof["earlier"] == {"size": before, "root": root}
    file = tmp_path / "proof.json"
    for altered, status in (
        ({}, 0),
        ({"proof": proof["proof"][1:]}, 1),
        ({"earlier": {"size": before - 1, "root": root}}, 1),
        ({"head": {"size": before, "root": "00" * 32}}, 1),
        ({"more": 1}, 1),
        ({"proof": ["no hash"]}, 1),
    ):
        file.write_text(json.dumps({**proof, **altered}))
        assert main(["head", "--check", str(file)]) == status
    assert main(["head", "--check", str(tmp_path / "nowhere")]) == 2
    assert main(["head", *here, "--since", "0"]) == 2


def test_signed_heads_that_were_kept_are_compared_one_with_the_ledger_and_two_with_each_other(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop = tmp_path / "shop"
    shop.mkdir()
    house = House(shop, fixed_keyring(shop / "keys", Clock()))
    (shop / "unlock").write_text("four plain words here")
    (shop / "unlock").chmod(0o600)
    here = ["--data-folder", str(shop)]

    def kept(name: str) -> Path:
        assert main(["head", *here, "--signed"]) == 0
        (tmp_path / name).write_text(capsys.readouterr().out, encoding="utf-8")
        return tmp_path / name

    first = kept("first.txt")
    house.accept(house.walk().start().parts)
    house.store.close()
    later = kept("later.txt")
    assert main(["head", *here, "--json", "--kept", str(later), "--kept", str(first)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["holds"]
    assert found["grown"]["earlier"]["size"] < found["grown"]["head"]["size"] == found["head"]["size"]
    (tmp_path / "proof.json").write_text(json.dumps(found["grown"]))
    assert main(["head", "--check", str(tmp_path / "proof.json")]) == 0
    altered = tmp_path / "altered.txt"
    altered.write_text(first.read_text(encoding="utf-8").replace("\n", "\n1", 1), encoding="utf-8")
    assert main(["head", *here, "--kept", str(altered)]) == 2
    assert "does not fit this note" in capsys.readouterr().err
    other = new_head_signer(name=first.read_text(encoding="utf-8").partition("\n")[0])
    forged = Checkpoint(other.name, 3, "ab" * 32)
    with (shop / "ledger-keys.txt").open("a", encoding="utf-8") as keys:
        keys.write(other.verifier.text + "\n")
    (tmp_path / "forged.txt").write_text(other.sign(forged.text), encoding="utf-8")
    assert main(["head", *here, "--kept", str(first), "--kept", str(tmp_path / "forged.txt")]) == 1
    assert "written anew" in capsys.readouterr().out
