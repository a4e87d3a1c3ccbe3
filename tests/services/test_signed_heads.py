"""Heads that the server signs: one line of growth, and nothing signed once the ledger left it."""

import json
import shutil

import pytest

from tests.kit.house import House
from webapp.domain.evidence.checkpoint import CheckpointRefused, read_checkpoint
from webapp.domain.evidence.consistency import is_consistent
from webapp.proof.errors import NoteRefused
from webapp.proof.keys.key_ring import new_head_signer
from webapp.proof.ledger.signed_note import NoteSigner
from webapp.services.errors import LedgerWentBack
from webapp.services.evidence import epochs, signed_heads


def test_each_head_grows_from_the_one_before_and_its_proof_says_so(house: House) -> None:
    signer, keys = house.keyring.head_signer, house.keyring.head_keys
    first = signed_heads.read_head(signed_heads.sign_head(house.store, signer), keys)
    house.accept(house.walk().start().parts)
    found = signed_heads.head_since(house.store, signer, first.size)
    later = signed_heads.read_head(found["note"], keys)
    assert later.size > first.size
    proof = [bytes.fromhex(one) for one in found["proof"] or []]
    roots = bytes.fromhex(first.root), bytes.fromhex(later.root)
    assert is_consistent(first.size, roots[0], later.size, roots[1], proof)
    assert signed_heads.head_since(house.store, signer, 0)["proof"] == []
    assert signed_heads.head_since(house.store, signer, later.size + 1)["proof"] is None
    assert house.store.kept_head.read() == (later.size, later.root)
    compared = signed_heads.compare(house.store, found["note"], keys)
    assert compared.holds
    assert compared.now["size"] == later.size


def test_nothing_is_signed_once_the_ledger_went_back_until_somebody_says_so(house: House) -> None:
    signer = house.keyring.head_signer
    signed_heads.sign_head(house.store, signer)
    shutil.copy(house.folder / "zerokeep.db", house.folder / "before.db")
    house.accept(house.walk().start().parts)
    kept = signed_heads.sign_head(house.store, signer)
    house.store.close()
    shutil.copy(house.folder / "before.db", house.folder / "zerokeep.db")
    with pytest.raises(LedgerWentBack):
        signed_heads.sign_head(house.store, signer)
    with pytest.raises(LedgerWentBack):
        signed_heads.head_since(house.store, signer, 0)
    assert not signed_heads.compare(house.store, kept, house.keyring.head_keys).holds
    epochs.open_epoch(house.store, house.keyring, "The disk failed.", house.clock())
    assert read_checkpoint(signed_heads.sign_head(house.store, signer).rpartition("\n\n")[0] + "\n").size > 0


def test_a_kept_head_that_cannot_be_read_lets_nothing_be_signed(house: House) -> None:
    house.store.kept_head.path.write_text("no head")
    with pytest.raises(LedgerWentBack):
        signed_heads.sign_head(house.store, house.keyring.head_signer)
    house.store.kept_head.path.write_text(json.dumps({"size": 1, "root": "ab" * 32}))
    with pytest.raises(LedgerWentBack):
        signed_heads.sign_head(house.store, house.keyring.head_signer)


def test_a_head_of_another_ledger_is_refused(house: House) -> None:
    ring = house.keyring
    note = signed_heads.sign_head(house.store, ring.head_signer)
    with pytest.raises(NoteRefused):
        signed_heads.read_head(note, [new_head_signer().verifier])
    borrowed = NoteSigner("zerokeep.invalid/other", ring.head_signer.key)
    text = read_checkpoint(note.rpartition("\n\n")[0] + "\n").text
    with pytest.raises(CheckpointRefused):
        signed_heads.read_head(borrowed.sign(text), [borrowed.verifier])


def test_a_head_signed_with_the_former_key_is_still_read(house: House) -> None:
    note = signed_heads.sign_head(house.store, house.keyring.head_signer)
    renewed = house.keyring.with_new_head_key(new_head_signer(name=house.keyring.head_signer.name))
    assert signed_heads.read_head(note, renewed.head_keys).origin == renewed.head_signer.name
