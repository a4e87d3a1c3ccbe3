"""The places of a record's entries in the ledger: each way in which they can fail to hold, by its words."""

from dataclasses import replace
from typing import Any

import pytest
from pymerkle import InmemoryTree

from tests.proof.records import SIGNER, bundle, in_ledger, ledger_of
from webapp.domain.record.bundle import RecordBundle, from_files
from webapp.domain.record.edition import PAGES_EDITION, PLACES_SINCE
from webapp.proof.keys.key_ring import new_head_signer
from webapp.proof.sealed_record.record_ledger import check_ledger

KEYS = [SIGNER.verifier]


def proven(**changes: Any) -> RecordBundle:
    return in_ledger(bundle(), **changes)


def bare(edition: int) -> RecordBundle:
    """A record without places, of this edition."""
    return replace(bundle(), record={**bundle().record, "edition": edition}, ledger=None)


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


def test_a_record_from_before_fails_nothing_and_one_that_was_robbed_of_its_places_fails() -> None:
    before = [("head.from_before", "not_looked_at"), ("places.from_before", "not_looked_at")]
    robbed = [("head.left_out", "fails"), ("places.left_out", "fails")]
    assert says(bare(PLACES_SINCE - 1)) == before
    for edition in (PLACES_SINCE, PAGES_EDITION + 1, 0):
        assert says(bare(edition)) == robbed


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
