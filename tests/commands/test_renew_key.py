"""`zerokeep renew-key`: keys that tablets follow from the one they know; old PIN keys are destroyed."""

import json
from pathlib import Path

import pytest

from webapp import shop_folder
from webapp.cli import main
from webapp.commands.opening import opened
from webapp.proof.key_succession import succeeded_by
from webapp.services.evidence import succession
from webapp.settings import Settings

PASSPHRASE = "only for this test, long enough"


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Settings:
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", PASSPHRASE)
    settings = Settings(data_folder=tmp_path / "data", key_passphrase=PASSPHRASE)
    with opened(settings):
        pass
    return settings


def test_statements_lead_from_every_former_receipt_key_to_the_one_of_now_and_from_no_other(
    settings: Settings,
) -> None:
    known = []
    for _ in range(2):
        with opened(settings) as (_, keyring):
            known.append(keyring.receipt_key_id)
        assert main(["renew-key", "receipts", "--data-folder", str(settings.data_folder)]) == 0
    with opened(settings) as (store, keyring):
        said = succession.all_statements(store)
        assert keyring.receipt_key_id not in known
        assert [succeeded_by(kid, said) for kid in known] == [keyring.receipt_key_id] * 2
        assert succeeded_by(known[0], said[1:]) == known[0], "a link is missing"
        assert succeeded_by(known[0], [said[0][:-4] + "AAAA"]) == known[0], "a signature does not hold"
        assert succeeded_by("nobody", said) == "nobody"


def test_the_pin_key_before_still_opens_and_the_one_before_that_is_destroyed(settings: Settings) -> None:
    seen = []
    for _ in range(3):
        with opened(settings) as (_, keyring):
            seen.append(keyring.pin_key_id)
        assert main(["renew-key", "pins", "--data-folder", str(settings.data_folder)]) == 0
    with opened(settings) as (store, keyring):
        assert set(keyring.pin_keys) == {keyring.pin_key_id, seen[-1]}
        with store.reading():
            newest, *_ = store.ledger.changes(kind="pin_key.renewed")
    assert json.loads(newest["text"])["data"]["destroyed"] == [seen[1]]


@pytest.mark.parametrize(("cut_off_at", "is_renewed"), [("change", False), ("_take_over", True)])
def test_a_renewal_that_is_cut_off_is_finished_or_never_was(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, cut_off_at: str, is_renewed: bool
) -> None:
    """Keys that the ledger does not name would be followed by no tablet."""
    with opened(settings) as (_, keyring):
        before = keyring.receipt_key_id

    def cut_off(*_: object) -> None:
        raise OSError("the power is gone")

    with monkeypatch.context() as patch:
        patch.setattr(shop_folder, cut_off_at, cut_off)
        with pytest.raises(OSError, match="power"):
            main(["renew-key", "receipts", "--data-folder", str(settings.data_folder)])
    with opened(settings) as (store, keyring):
        assert (keyring.receipt_key_id != before) == is_renewed
        assert succeeded_by(before, succession.all_statements(store)) == keyring.receipt_key_id
    assert [path.name for path in settings.keys_folder.iterdir()] == ["keys.json"]
