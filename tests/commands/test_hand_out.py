"""`zerokeep hand-out`: a bundle from the terminal, and `zerokeep verify` with the shop's two public files."""

from hashlib import sha256
from pathlib import Path

import pytest

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from webapp.cli import main
from webapp.proof.ledger import bundle_check


def test_a_bundle_is_written_once_and_what_cannot_be_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop = tmp_path / "shop"
    shop.mkdir()
    house = House(shop, fixed_keyring(shop / "keys", Clock()))
    walk = house.walk().start()
    house.accept(walk.parts)
    house.store.close()
    (shop / "unlock").write_text("four plain words here")
    (shop / "unlock").chmod(0o600)
    here = ["--data-folder", str(shop)]
    file = tmp_path / "out.zip"
    assert main(["hand-out", str(file), *here]) == 2
    assert "either --setup ID" in capsys.readouterr().err
    assert main(["hand-out", str(file), "--setup", "00000000-0000-0000-0000-00000000dead", *here]) == 1
    assert not file.exists()
    assert main(["hand-out", str(file), "--setup", walk.setup, *here]) == 0
    said = capsys.readouterr().out
    assert "evidence of 1 setups" in said
    assert sha256(Path(bundle_check.__file__).read_bytes()).hexdigest() in said
    other, unlock = tmp_path / "other.zip", (shop / "unlock").read_text()
    (shop / "unlock").write_text("quite another passphrase")
    assert main(["hand-out", str(other), "--setup", walk.setup, *here]) != 0
    assert not other.exists()
    (shop / "unlock").write_text(unlock)
    assert main(["hand-out", str(other), "--first", "2026-11-01", "--last", "9999-12-31", *here]) == 2
    assert "end of the calendar" in capsys.readouterr().err
    assert not other.exists()
    assert main(["hand-out", str(other), "--setup", walk.setup, *here]) == 0
    before = file.read_bytes()
    assert main(["hand-out", str(file), "--first", "2026-11-01", "--last", "2026-11-30", *here]) == 2
    assert file.read_bytes() == before
