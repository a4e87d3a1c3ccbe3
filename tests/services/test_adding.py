"""Additions to a sealed record: named, numbered, never a change of it, and proven by their own text."""

from base64 import b64decode

import pytest

from tests.kit.house import House
from tests.kit.shop import PASSPHRASES
from webapp.domain.evidence import tree
from webapp.services.audit.auditing import audit
from webapp.services.decisions import adding
from webapp.services.errors import NoSuchRecord, OwnSetup, ReasonMissing, RoleMissing, SignInRefused
from webapp.services.evidence.signed_heads import read_head
from webapp.services.setups import recording

RENDERER = {"weasyprint": "70.0", "zerokeep": "0.1.0"}


def test_an_addition_names_the_record_and_leaves_it_as_it_was(house: House) -> None:
    walk, ring = house.signed_off(), house.keyring
    typed = "The stylus was found bent the day after."
    with pytest.raises(NoSuchRecord):
        adding.add(house.store, walk.setup, "ines", PASSPHRASES["ines"], typed, house.clock())
    record = recording.sealed_pdf(
        *(house.store, walk.setup, lambda bundle: bundle.digest().encode(), lambda pdf, _: pdf),
        *(ring.head_signer, house.clock(), RENDERER),
    )
    for who, passphrase, text, refusal in (
        ("ines", "wrong words", typed, SignInRefused),
        ("mara", PASSPHRASES["mara"], typed, RoleMissing),
        ("ines", PASSPHRASES["ines"], " ", ReasonMissing),
    ):
        with pytest.raises(refusal):
            adding.add(house.store, walk.setup, who, passphrase, text, house.clock())
    for number in (1, 2):
        house.clock.forward(minutes=1)
        given = adding.add(house.store, walk.setup, "ines", PASSPHRASES["ines"], typed, house.clock())
        assert given == number
    assert recording.stored_pdf(house.store, walk.setup) == record
    found = adding.additions_to(house.store, record[0])
    assert found.setup == walk.setup
    assert [(one.number, one.record, one.text) for one in found.additions] == [
        (1, record[0], typed),
        (2, record[0], typed),
    ]
    assert adding.additions_to(house.store, "ab" * 32) == adding.NONE
    assert audit(house.store) == []
    text = adding.proven(house.store, ring.head_signer, walk.setup, 2)
    assert text
    entry, proof, rest = text.split("\n\n", 2)
    _, index, *way = proof.split("\n")
    head = read_head(rest, ring.head_keys)
    ways = [b64decode(one) for one in way]
    leaf, place = tree.leaf_hash(entry.encode()), int(index.removeprefix("index "))
    assert tree.root_from_inclusion(leaf, place, head.size, ways).hex() == head.root
    assert adding.proven(house.store, ring.head_signer, walk.setup, 3) is None


def test_whoever_ran_the_setup_does_not_add_to_its_record(house: House) -> None:
    walk = house.signed_off()
    house.store.records.files.write(b"%PDF")
    with house.store.writing():
        house.store.records.add(walk.setup, "ab" * 32, 4, "2026-11-25T09:00:00.000Z")
        house.store.people.change("mara", roles=["operator", "lead"])
    with pytest.raises(OwnSetup):
        adding.add(house.store, walk.setup, "mara", PASSPHRASES["mara"], "It was me.", house.clock())
