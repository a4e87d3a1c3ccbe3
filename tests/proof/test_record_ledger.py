"""The places of a record's entries in the ledger: each way in which they can fail to hold, by its words."""

from dataclasses import replace
from typing import Any

import pytest
from pymerkle import InmemoryTree

from tests.proof.records import bundle
from webapp.domain.evidence import tree
from webapp.domain.evidence.checkpoint import Checkpoint
from webapp.domain.record.bundle import RecordBundle, from_files
from webapp.domain.record.ledger_proofs import proofs_of
from webapp.proof.keys import new_head_signer
from webapp.proof.record_ledger import check_ledger

SIGNER = new_head_signer()
KEYS = [SIGNER.verifier]
STRANGERS = 7


def ledger_of(record: RecordBundle) -> tuple[list[str], list[int], list[int]]:
    """All texts of a ledger in which this record's entries stand among others', and where."""
    texts, places = [], []
    for number, text in enumerate((*record.events, *record.decisions)):
        texts += [f"stranger {number} {one}" for one in range(STRANGERS)]
        places.append(len(texts))
        texts.append(text)
    return texts, places[: len(record.events)], places[len(record.events) :]


def proven(**changes: Any) -> RecordBundle:
    record = bundle()
    texts, events, decisions = ledger_of(record)
    growth = tree.append(0, {}, [tree.leaf_hash(text.encode()) for text in texts])
    nodes = {(node.level, node.index): node.hash for node in growth.new_nodes}
    head = Checkpoint(SIGNER.name, growth.size, growth.root.hex())
    made = proofs_of(events, decisions, growth.size, nodes.get)
    ledger = {**made, "note": SIGNER.sign(head.text), "key": SIGNER.verifier.text, **changes}
    told = {**record.record, "ledger": {"size": head.size, "root": head.root}}
    return replace(record, record=told, ledger=ledger)


def says(record: RecordBundle, keys: Any = KEYS) -> list[tuple[str, str]]:
    return [(line.says.removeprefix("record."), line.state) for line in check_ledger(record, keys)]


def test_every_entry_leads_to_a_head_of_a_known_key() -> None:
    record = proven()
    assert says(record) == [("head.holds", "holds"), ("places.holds", "holds")]
    assert from_files(record.files()) == record
    line = check_ledger(record, KEYS)[1]
    assert line.fields["sign_off"] == str(record.ledger["decisions"][-1]["index"] + 1)


def test_the_ways_are_those_of_an_implementation_by_others() -> None:
    record = proven()
    other = InmemoryTree(algorithm="sha256")
    for text in ledger_of(record)[0]:
        other.append_entry(text.encode())
    hashes = record.ledger["hashes"]
    assert other.get_root().hex() == record.record["ledger"]["root"]
    for place in (*record.ledger["events"], *record.ledger["decisions"]):
        theirs = other.prove_inclusion(place["index"] + 1).serialize()["path"]
        assert {hashes[number] for number in place["way"]} <= set(theirs)


def test_a_key_that_is_not_known_and_no_key_at_all_are_two_answers() -> None:
    assert says(proven(), None) == [("head.sealers_word", "not_looked_at"), ("places.holds", "holds")]
    assert says(proven(), [new_head_signer().verifier])[0] == ("head.not_ours", "fails")


def test_a_record_from_before_fails_nothing() -> None:
    assert says(bundle()) == [("head.from_before", "not_looked_at"), ("places.from_before", "not_looked_at")]


def test_an_altered_text_and_a_moved_place_lead_nowhere() -> None:
    record = proven()
    assert record.ledger
    other_event = replace(record, events=(*record.events[:-1], record.events[0]))
    assert says(other_event)[1] == ("places.astray_event", "fails")
    other_decision = replace(record, decisions=(*record.decisions[:-1], record.decisions[-1] + " "))
    assert says(other_decision)[1] == ("places.astray_decision", "fails")
    for places in (record.ledger["events"][::-1], [{"index": 0, "way": []}] * len(record.events)):
        assert says(proven(events=places))[1] == ("places.astray_event", "fails")
    beyond = [{"index": place["index"], "way": [9_999]} for place in record.ledger["events"]]
    assert says(proven(events=beyond))[1] == ("places.astray_event", "fails")
    assert says(proven(events=record.ledger["events"][1:]))[1] == ("places.count", "fails")


@pytest.mark.parametrize(
    "key", [new_head_signer(name=SIGNER.name).verifier.text, "no key"], ids=["another key", "no key"]
)
def test_a_head_that_its_key_did_not_sign_is_refused(key: str) -> None:
    assert says(proven(key=key)) == [("head.refused", "fails"), ("places.not_asked", "not_looked_at")]


def test_another_head_than_the_printed_one_is_told() -> None:
    record = proven()
    told = {**record.record, "ledger": {"size": 9, "root": "00" * 32}}
    assert says(replace(record, record=told))[0] == ("head.differs", "fails")


def test_a_record_that_names_no_head_is_told_and_stops_nothing() -> None:
    record = proven()
    told = {name: value for name, value in record.record.items() if name != "ledger"}
    assert says(replace(record, record=told))[0] == ("head.differs", "fails")  # type: ignore[arg-type]
