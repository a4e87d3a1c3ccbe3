"""`zerokeep renew-key`: keys that tablets follow from the one they know; old PIN keys are destroyed."""

import errno
import json
import os
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from webapp import shop_folder
from webapp.cli import main
from webapp.commands import renew_passphrase
from webapp.commands.opening import opened
from webapp.data_folder import HEAD_KEYS_FILE
from webapp.proof.keys.key_succession import succeeded_by
from webapp.services.evidence import rotation, succession
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.evidence.signed_heads import read_head, sign_head
from webapp.settings import BadSetting, Settings, write_secret

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


def test_a_head_signed_before_its_key_was_renewed_still_holds_and_the_ledger_names_both(
    settings: Settings,
) -> None:
    with opened(settings) as (store, keyring):
        with store.writing():
            change(store, "test.begun", SERVER, "ledger", None, {}, datetime(2026, 11, 25, 8, tzinfo=UTC))
        note, before = sign_head(store, keyring.head_signer), keyring.head_signer.verifier.text
    assert main(["renew-key", "heads", "--data-folder", str(settings.data_folder)]) == 0
    with opened(settings) as (store, keyring):
        assert keyring.head_signer.verifier.text != before
        assert read_head(note, keyring.head_keys).size == 1
        assert read_head(sign_head(store, keyring.head_signer), keyring.head_keys).size == 2
        with store.reading():
            (entry,) = store.ledger.changes(kind=rotation.HEAD_KEY_RENEWED)
        said = {"before": before, "key": keyring.head_signer.verifier.text}
        assert said.items() < json.loads(entry["text"])["data"].items()
        kept = (settings.data_folder / HEAD_KEYS_FILE).read_text().split()
        assert kept == [keyring.head_signer.verifier.text, before]


def test_another_passphrase_opens_the_keys_and_the_former_does_not(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ended in its middle, before the new passphrase took its place, it is finished by calling it again."""
    folder = str(settings.data_folder)
    monkeypatch.delenv("ZEROKEEP_KEY_PASSPHRASE")
    settings = replace(settings, key_passphrase=None)
    settings.unlock_path.write_text(PASSPHRASE)
    settings.unlock_path.chmod(0o600)
    with monkeypatch.context() as patched:
        patched.setattr(Path, "rename", _broken_off_at(settings.unlock_path))
        with pytest.raises(InterruptedError):
            renew_passphrase.renew_passphrase(settings)
    assert main(["renew-key", "pins", "--data-folder", folder]) == 1
    assert "zerokeep renew-key passphrase" in capsys.readouterr().err
    assert main(["renew-key", "passphrase", "--data-folder", folder]) == 0
    assert settings.unlock_path.read_text().strip() != PASSPHRASE
    assert not settings.next_unlock_path.exists()
    with opened(settings) as (store, _), store.reading():
        assert store.ledger.changes(kind=rotation.PASSPHRASE_RENEWED)
    settings.unlock_path.write_text(PASSPHRASE)
    assert main(["renew-key", "pins", "--data-folder", folder]) == 1


def _broken_off_at(place: Path) -> Callable[[Path, Path], Path]:
    rename = Path.rename

    def renamed(this: Path, target: Path) -> Path:
        if target == place:
            raise InterruptedError
        return rename(this, target)

    return renamed


def test_what_is_due_is_told_by_the_ledger_alone(settings: Settings) -> None:
    begun = datetime(2026, 11, 25, 8, tzinfo=UTC)
    with opened(settings) as (store, _):
        assert rotation.reminders(store, begun) == []
        with store.writing():
            change(store, "test.begun", SERVER, "ledger", None, {}, begun)
        due = [[one.fields["which"] for one in rotation.reminders(store, begun + timedelta(days=days))]
               for days in (365, 366, 731, 1096)]  # fmt: skip
        assert due == [[], ["pins"], ["pins", "receipts", "passphrase"],
                       ["pins", "receipts", "passphrase", "heads"]]  # fmt: skip
        with store.writing():
            change(store, rotation.PIN_KEY_RENEWED, SERVER, "pins", None, {}, begun + timedelta(days=700))
        assert [one.fields["which"] for one in rotation.reminders(store, begun + timedelta(days=731))] == [
            "receipts",
            "passphrase",
        ]


def test_a_new_passphrase_that_was_cut_short_is_drawn_again_and_wraps_nothing(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("ZEROKEEP_KEY_PASSPHRASE")
    settings.unlock_path.write_text(PASSPHRASE + "\n")
    settings.unlock_path.chmod(0o600)
    settings.next_unlock_path.write_text("")
    assert main(["renew-key", "passphrase", "--data-folder", str(settings.data_folder)]) == 0
    now = settings.unlock_path.read_text().strip()
    assert len(now) >= 15
    assert now != PASSPHRASE
    assert not settings.next_unlock_path.exists()
    with opened(replace(settings, key_passphrase=now)) as (_, keyring):
        assert keyring.receipt_key_id


def test_a_start_beside_a_renewal_waits_for_it_and_takes_nothing_away(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another process starts after the keys were written aside, and before the ledger names them."""
    real, started = shop_folder.change, []

    def start_meanwhile(*parts: Any, **more: Any) -> Any:
        other = threading.Thread(target=shop_folder.finish_renewal, args=(settings,))
        other.start()
        other.join(0.5)
        started.append(other)
        assert other.is_alive(), "it did not wait"
        return real(*parts, **more)

    monkeypatch.setattr(shop_folder, "change", start_meanwhile)
    with opened(settings) as (_, keyring):
        before = keyring.receipt_key_id
    assert main(["renew-key", "receipts", "--data-folder", str(settings.data_folder)]) == 0
    started[0].join(30)
    assert not started[0].is_alive()
    with opened(settings) as (store, keyring):
        assert keyring.receipt_key_id != before
        assert succeeded_by(before, succession.all_statements(store)) == keyring.receipt_key_id


def test_a_secret_is_written_whole_or_not_at_all_and_never_over_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "unlock"
    write_secret(file, "the first")
    with pytest.raises(BadSetting, match="unlock"):
        write_secret(file, "the second")
    assert file.read_text() == "the first\n"
    assert file.stat().st_mode & 0o777 == 0o600

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadSetting, match="No space left"):
        write_secret(tmp_path / "other", "never there")
    assert [one.name for one in tmp_path.iterdir()] == ["unlock"]
