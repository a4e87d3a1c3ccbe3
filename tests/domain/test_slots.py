"""Slot families, the register and what stands in a slot."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.shop import errors
from webapp.domain.shop.slots import (
    MOST_SLOTS,
    SlotFamily,
    SlotRow,
    assign_slot,
    check_register,
    end_assignment,
    match_slot,
    normalise_label,
    release_slot,
)
from webapp.words import say

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
FAMILY = SlotFamily.parse("G54-G59, G59.1-G59.3")
MM = Display(Unit.MM, 3)


def mine(label: str, until_utc: datetime | None = None, *, held_back: bool = False) -> SlotRow:
    return SlotRow(label, "person", "p1", "Ines Okafor", until_utc, held_back=held_back)


def theirs(label: str, until_utc: datetime | None = None, *, held_back: bool = False) -> SlotRow:
    return SlotRow(label, "person", "p2", "Teo Brandt", until_utc, held_back=held_back)


@pytest.mark.parametrize(
    ("text", "labels"),
    [
        ("G54", ["G54"]),
        ("g54 - g56", ["G54", "G55", "G56"]),
        ("E1-E3;P7", ["E1", "E2", "E3", "P7"]),
        ("E08–E11", ["E08", "E09", "E10", "E11"]),
        ("P1−3", ["P1", "P2", "P3"]),
        ("G54.1 P1-G54.1 P2", ["G54.1 P1", "G54.1 P2"]),
        ("\n G59.1-G59.3,\n", ["G59.1", "G59.2", "G59.3"]),
        ("1-3", ["1", "2", "3"]),
        ("WORK 9-WORK 10", ["WORK 9", "WORK 10"]),
    ],
)
def test_a_family_is_read_as_typed(text: str, labels: list[str]) -> None:
    assert list(SlotFamily.parse(text).labels) == labels


@pytest.mark.parametrize(("text", "length"), [("E1-E50", 50), ("P1-P48", 48), (f"E1-E{MOST_SLOTS}", 500)])
def test_long_families_keep_every_slot_in_order(text: str, length: int) -> None:
    family = SlotFamily.parse(text)
    assert len(family.labels) == length
    assert [normalise_label(label, family) for label in family.labels] == list(family.labels)


@pytest.mark.parametrize(
    ("text", "error", "fields"),
    [
        ("", errors.FamilyEmptyError, {}),
        (" , ;\n", errors.FamilyEmptyError, {}),
        ("G54, slot", errors.FamilyItemNotUnderstoodError, {"item": "slot"}),
        ("G54-", errors.FamilyItemNotUnderstoodError, {"item": "G54-"}),
        ("G54-G56-G58", errors.FamilyItemNotUnderstoodError, {"item": "G54-G56-G58"}),
        ("G5٤", errors.FamilyItemNotUnderstoodError, {"item": "G5٤"}),
        ("<b>1", errors.FamilyItemNotUnderstoodError, {"item": "<b>1"}),
        ("G59-G54", errors.FamilyRangeBackwardsError, {"item": "G59-G54", "first": "G59", "last": "G54"}),
        (
            "G54-G59.3",
            errors.FamilyRangeStemsDifferError,
            {"item": "G54-G59.3", "first": "G54", "last": "G59.3"},
        ),
        ("E1-P9", errors.FamilyRangeStemsDifferError, {"item": "E1-P9", "first": "E1", "last": "P9"}),
        ("G54-G56, G55", errors.FamilyLabelTwiceError, {"label": "G55"}),
        ("E1, E01", errors.FamilyLabelTwiceError, {"label": "E01"}),
        ("E1-E501", errors.FamilyTooLongError, {"most": 500}),
        ("E1-E99999999999999999999", errors.FamilyTooLongError, {"most": 500}),
        ("E1-E400, P1-P400", errors.FamilyTooLongError, {"most": 500}),
    ],
)
def test_a_family_that_cannot_be_read_is_refused_by_name(
    text: str, error: type[errors.DomainError], fields: dict[str, str | int]
) -> None:
    with pytest.raises(error) as refused:
        SlotFamily.parse(text)
    assert refused.value.fields == fields
    assert "{" not in say(refused.value.code, refused.value.fields)


@pytest.mark.parametrize(
    ("typed", "label"),
    [
        ("G54", "G54"),
        (" g 54 ", "G54"),
        ("G054", "G54"),
        ("54", "G54"),
        ("59.1", "G59.1"),
        ("G59,2", "G59.2"),
        ("G59", "G59"),
        ("59", "G59"),
    ],
)
def test_a_typed_label_finds_its_slot(typed: str, label: str) -> None:
    assert normalise_label(typed, FAMILY) == label


@pytest.mark.parametrize("typed", ["G53", "G59.4", "G59.10", "G5", "4", ".1", "G54G55", "G54.0", "slot"])
def test_a_label_of_no_slot_is_refused(typed: str) -> None:
    with pytest.raises(errors.LabelNotInFamilyError) as refused:
        normalise_label(typed, FAMILY)
    assert refused.value.fields == {"typed": typed, "first": "G54", "last": "G59.3"}


@pytest.mark.parametrize("typed", ["", "  ", "\u00a0"])
def test_no_label_is_refused(typed: str) -> None:
    with pytest.raises(errors.LabelEmptyError):
        normalise_label(typed, FAMILY)


def test_a_number_that_fits_two_labels_is_refused() -> None:
    with pytest.raises(errors.LabelAmbiguousError) as refused:
        normalise_label("1", SlotFamily.parse("E1-E3, P1-P3"))
    assert refused.value.fields == {"typed": "1", "one": "E1", "other": "P1"}


@pytest.mark.parametrize(
    ("typed", "outcome"),
    [
        ("G54", "own"),
        ("55", "somebody_elses"),
        ("G56", "shop"),
        ("G57", "free"),
        ("G58", "expired"),
        ("G59", "somebody_elses"),
        ("G59.1", "free"),
        ("G59.2", "expired"),
        ("G59.3", "somebody_elses"),
        ("G60", "unknown"),
    ],
)
def test_a_selected_slot_is_matched_with_the_register(typed: str, outcome: str) -> None:
    rows = [
        mine("G54", NOON + timedelta(days=1)),
        theirs("G55"),
        SlotRow("G56", "shop"),
        SlotRow("G57", "free"),
        mine("G58", NOON),
        theirs("G59", NOON - timedelta(days=9)),
        mine("G59.2", held_back=True),
        theirs("G59.3", held_back=True),
    ]
    match = match_slot(typed, FAMILY, rows, "p1", NOON)
    assert match.outcome == outcome
    if outcome != "unknown":
        assert match.finding.fields["own"] == "G54"
    said = say(match.finding.code, match.finding.fields)
    assert typed in said
    if outcome == "somebody_elses":
        assert "Teo Brandt" in said
        assert "G54" in said


def test_an_assignment_runs_up_to_its_end_and_not_beyond() -> None:
    rows = [mine("G54", NOON)]
    assert match_slot("G54", FAMILY, rows, "p1", NOON - timedelta(microseconds=1)).outcome == "own"
    assert match_slot("G54", FAMILY, rows, "p1", NOON).outcome == "expired"


def test_the_end_is_compared_as_a_moment_whatever_its_time_zone() -> None:
    rows = [mine("G54", datetime(2026, 3, 2, 13, 30, tzinfo=timezone(timedelta(hours=1))))]
    assert match_slot("G54", FAMILY, rows, "p1", NOON).outcome == "own"
    assert match_slot("G54", FAMILY, rows, "p1", NOON + timedelta(minutes=30)).outcome == "expired"


def test_a_time_without_a_zone_is_refused() -> None:
    bare = NOON.replace(tzinfo=None)
    with pytest.raises(errors.TimeWithoutZoneError):
        match_slot("G54", FAMILY, [], "p1", bare)
    with pytest.raises(errors.TimeWithoutZoneError):
        mine("G54", bare)
    with pytest.raises(errors.TimeWithoutZoneError):
        assign_slot(SlotRow("G54", "free"), "p1", "Ines Okafor", bare)


def test_two_rows_of_one_slot_are_refused() -> None:
    with pytest.raises(errors.SlotListedTwiceError) as refused:
        match_slot("G54", FAMILY, [mine("G54"), theirs("g 054")], "p1", NOON)
    assert refused.value.fields == {"label": "G54"}


def test_a_row_of_no_slot_is_refused() -> None:
    with pytest.raises(errors.LabelNotInFamilyError):
        check_register(FAMILY, [mine("E5")])


@pytest.mark.parametrize(
    ("owner_id", "owner_name"), [(None, None), ("p1", None), (None, "Ines Okafor"), ("", "")]
)
def test_an_assigned_slot_without_an_owner_is_refused(owner_id: str | None, owner_name: str | None) -> None:
    with pytest.raises(errors.SlotWithoutOwnerError):
        SlotRow("G54", "person", owner_id, owner_name)


def test_a_slot_without_assignment_has_no_owner() -> None:
    with pytest.raises(errors.SlotOwnerUnexpectedError):
        SlotRow("G54", "shop", "p1", "Ines Okafor")
    with pytest.raises(errors.SlotOwnerUnexpectedError):
        SlotRow("G54", "free", held_back=True)


def test_a_taken_slot_is_not_given_to_another() -> None:
    with pytest.raises(errors.SlotTakenError) as refused:
        assign_slot(theirs("G54", NOON), "p1", "Ines Okafor", None)
    assert refused.value.fields == {"label": "G54", "owner": "Teo Brandt"}


def test_a_slot_held_back_is_not_given_to_another() -> None:
    with pytest.raises(errors.SlotHeldBackError):
        assign_slot(theirs("G54", held_back=True), "p1", "Ines Okafor", None)


def test_a_slot_kept_for_the_shop_is_not_given_away() -> None:
    with pytest.raises(errors.SlotKeptForShopError):
        assign_slot(SlotRow("G54", "shop"), "p1", "Ines Okafor", None)


def test_an_assignment_can_be_extended_for_its_owner() -> None:
    extended = assign_slot(mine("G54", NOON, held_back=True), "p1", "Ines Okafor", NOON + timedelta(days=30))
    assert not extended.has_ended(NOON + timedelta(days=29))


def test_an_ended_assignment_is_held_back_and_then_released() -> None:
    held = end_assignment(mine("G54"))
    assert held.held_back
    assert match_slot("G54", FAMILY, [held], "p1", NOON).outcome == "expired"
    assert release_slot(held) == SlotRow("G54", "free")


def test_a_running_assignment_is_not_released() -> None:
    with pytest.raises(errors.SlotTakenError):
        release_slot(mine("G54"))


@pytest.mark.parametrize("change", [end_assignment, release_slot])
def test_nothing_is_ended_where_nothing_is_assigned(change) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001
    with pytest.raises(errors.SlotNotAssignedError):
        change(SlotRow("G54", "free"))


ACTIONS = st.lists(
    st.tuples(
        st.sampled_from(["assign", "end", "release"]), st.sampled_from(["G54", "G55"]), st.sampled_from("abc")
    ),
    max_size=25,
)


@given(ACTIONS)
def test_whatever_is_done_to_the_register_no_slot_passes_on_without_having_been_free(
    actions: list[tuple[str, str, str]],
) -> None:
    register = {label: SlotRow(label, "free") for label in ("G54", "G55")}
    for action, label, person in actions:
        before = register[label]
        try:
            if action == "assign":
                register[label] = assign_slot(before, person, person.upper(), None)
            else:
                register[label] = (end_assignment if action == "end" else release_slot)(before)
        except errors.SlotError:
            continue
        after = register[label]
        assert before.owner_id is None or after.owner_id in {before.owner_id, None}
        owned = [match_slot(label, FAMILY, list(register.values()), who, NOON).outcome for who in "abc"]
        assert owned.count("own") <= 1
