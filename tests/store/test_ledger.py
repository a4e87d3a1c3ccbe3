"""The stored tree against the plain one of RFC 6962, at every size."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from webapp.domain.evidence import tree
from webapp.store import Store
from webapp.store.errors import Conflict
from webapp.store.repositories.ledger import CHANGES_ABOUT_RECORD


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(portions=st.lists(st.integers(0, 40), max_size=6))
def test_the_root_of_every_size_is_that_of_the_plain_tree(
    portions: list[int], tmp_path_factory: pytest.TempPathFactory
) -> None:
    store = Store.open(tmp_path_factory.mktemp("ledger") / "zerokeep.db")
    entries: list[bytes] = []
    for number, portion in enumerate(portions):
        new = [f"{number} {place}".encode() for place in range(portion)]
        with store.writing():
            start = store.ledger.append("event", new)
        assert start == len(entries)
        entries += new
    hashes = [tree.leaf_hash(entry) for entry in entries]
    with store.reading():
        for size in range(len(entries) + 1):
            assert store.ledger.root(size) == tree.append(0, {}, hashes[:size]).root
        assert store.ledger.root() == tree.append(0, {}, hashes).root
    store.close()


def test_a_change_is_kept_as_the_text_that_its_leaf_hashes(tmp_path: Path) -> None:
    store = Store.open(tmp_path / "zerokeep.db")
    with store.writing():
        store.ledger.append_change("{}", kind="t", by="b", subject="s", setup=None, at_utc="a")
        assert [bytes(row["hash"]) for row in store.ledger.leaves_between(0, 10)] == [tree.leaf_hash(b"{}")]
        assert [row["text"] for row in store.ledger.changes_between(0, 10)] == ["{}"]


@pytest.mark.parametrize("second", ["setup.signed_off", "setup.not_accepted"])
def test_a_setup_is_decided_once_by_the_database_itself(store: Store, second: str) -> None:
    def decide(kind: str, setup: str) -> None:
        with store.writing():
            store.ledger.append_change("{}", kind=kind, by="b", subject=setup, setup=setup, at_utc="a")

    decide("setup.signed_off", "one")
    with pytest.raises(Conflict):
        decide(second, "one")
    decide(second, "two")
    decide("record.sealed", "one")
    with store.reading():
        assert [row["setup"] for row in store.ledger.changes_between(0, 10)] == ["one", "two", "one"]


def test_what_came_to_be_of_one_record_is_found_by_an_index_on_either_database(store: Store) -> None:
    """Asked of the database: its plan, on a server one that reads a whole table only if it must."""
    with store.writing():
        for kind in ("record.disposed", "record.added_to", "person.changed"):
            for subject in ("one", "two"):
                store.ledger.append_change("{}", kind=kind, by="b", subject=subject, setup=None, at_utc="a")
    in_file = store.settings().get("journal_mode") is not None
    with store.reading():
        found = store.ledger.changes_about_record("record.added_to", "two")
        assert [(row["type"], row["subject"], row["position"]) for row in found] == [
            ("record.added_to", "two", 3)
        ]
        if not in_file:
            store.ask("SET LOCAL enable_seqscan = off")
        explain = "EXPLAIN QUERY PLAN" if in_file else "EXPLAIN"
        plan = store.ask(f"{explain} {CHANGES_ABOUT_RECORD}", ("two", "record.added_to"))
    assert "change_about_record" in str(plan), plan


def test_the_newest_change_about_one_subject_is_found_among_all_of_its_kinds(store: Store) -> None:
    said = (("a", "one"), ("b", "one"), ("a", "other"), ("c", "one"))
    with store.writing():
        for kind, subject in said:
            store.ledger.append_change("{}", kind=kind, by="b", subject=subject, setup=None, at_utc="a")
        found = [
            (one["type"], one["position"]) if (one := store.ledger.newest_about(*asked)) else None
            for asked in (("one", ("a", "b")), ("other", ("a", "b")), ("nobody", ("a",)))
        ]
    assert found == [("b", 1), ("a", 2), None]
