"""Additions to a sealed record: named, numbered, never a change of it, and proven by their own text."""

from base64 import b64decode

import pytest

from tests.kit.house import House
from tests.kit.shop import PASSPHRASES
from webapp.domain.evidence import tree
from webapp.proof.sealed_record.record_addition import check_addition
from webapp.services.audit.auditing import audit
from webapp.services.decisions import adding
from webapp.services.errors import NoSuchRecord, OwnSetup, ReasonMissing, RoleMissing
from webapp.services.evidence.signed_heads import read_head
from webapp.services.people.errors import SignInRefused
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
    pdf, keys = record[1], list(ring.head_keys)
    line = check_addition(text, pdf, keys)
    assert (line.state, line.fields["number"], line.fields["text"]) == ("holds", 2, typed)
    first = adding.proven(house.store, ring.head_signer, walk.setup, 1)
    assert first
    wrong = {
        "record.addition.other_record": (text, pdf + b" ", keys),
        "record.addition.no_key": (text, pdf, None),
        "record.addition.refused": (text.replace(f"\n{head.size}\n", f"\n{head.size + 1}\n"), pdf, keys),
        "record.addition.astray": (text.replace("the day after", "the day before"), pdf, keys),
        "record.addition.malformed": (text.replace("record.added_to", "record.sealed"), pdf, keys),
    }
    for says, given in wrong.items():
        found = check_addition(*given)
        assert (found.says, found.state == "holds") == (says, False)
    stained = text.replace(f"\n{way[0]}\n", f"\n{way[0][:4]}!{way[0][4:]}\n")
    assert (stained != text, check_addition(stained, pdf, keys).says) == (True, "record.addition.malformed")
    for text_of_none in ("", "{}\n\nc2sp.org/tlog-proof@v1\n\n", first.partition("\n\n")[0], text[:-9]):
        assert not check_addition(text_of_none, pdf, keys).holds


def test_whoever_ran_the_setup_does_not_add_to_its_record(house: House) -> None:
    walk = house.signed_off()
    house.store.records.files.write(b"%PDF")
    with house.store.writing():
        house.store.records.add(walk.setup, "ab" * 32, 4, "2026-11-25T09:00:00.000Z")
        house.store.people.change("mara", roles=["operator", "lead"])
    with pytest.raises(OwnSetup):
        adding.add(house.store, walk.setup, "mara", PASSPHRASES["mara"], "It was me.", house.clock())
