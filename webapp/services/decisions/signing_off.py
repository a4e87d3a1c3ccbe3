"""The lead's signature on a finished setup, or the refusal of it.

Rules:
- two different people: whoever ran the setup does not sign it off (OWASP ASVS 5.0, 2.3.5);
- what is odd about a setup (`domain.setup.oddities`) keeps it out of every list, asked in the transaction
  that signs;
- the operator's signature has to be verified first, and every question answered;
- each sign-off asks for the passphrase again, whatever the session (7.5.3; 21 CFR 11.200(a)); one entry of it
  may sign a list of plain setups that were each opened before, each as a change of its own; the right to
  sign off is looked at after that, in the transaction that writes, so that of two leads one signs (15.4.2);
- a decision is about what the person read:
  the fingerprint that their page carried has to be the one of now, and it stands in the decision (11.70);
- a touch's value becomes part of the usual here and nowhere else: one value a setup and axis, of a complete
  setup, in the same transaction, as the lead chose (see `joining`); the sign-off says which axes joined.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypedDict

from webapp.domain.evidence.chain import Fork, forks
from webapp.domain.evidence.decisions import Decision
from webapp.domain.evidence.event_kinds import Event
from webapp.domain.evidence.folded_setup import Folded, Problem, Touch
from webapp.domain.evidence.reviewed import Reviewed, reviewed
from webapp.domain.evidence.written_sheet import Said, WrittenSheet
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.setup.step_times import PacedStep
from webapp.domain.setup.touching.half_set import not_usable_axes
from webapp.services.decisions import joining, odd_setups
from webapp.services.decisions.errors import (
    DecidedAlready,
    NotFinished,
    NotPlain,
    QuestionsOpen,
    SetupChanged,
    SignatureNotVerified,
)
from webapp.services.decisions.sides import Difference
from webapp.services.errors import NoSuchSetup, OwnSetup
from webapp.services.evidence.ledger import change
from webapp.services.evidence.tombstones import tombstone
from webapp.services.people.access import DESK, check_secret, must_be_lead
from webapp.services.people.errors import SignInRefused
from webapp.services.setups import at_a_glance, pacing, stored_setups, worrying
from webapp.services.setups.at_a_glance import Glance
from webapp.services.setups.worrying import OpenWorry
from webapp.services.typed_reasons import note_text, reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow, RecordRow, SetupRow

    class QueuedSetup(SetupRow):
        """A setup that waits for a decision: names, and how much there is to look at."""

        person_name: str
        machine_name: str
        problems: int
        open_questions: int
        holds: int
        worries: int
        corrections: int
        pace: Said | None
        told_squares: int
        remarks: int
        not_usable: str
        glance: Glance
        oddities: tuple[Finding, ...]
        plain: bool


class TouchNumbers(Touch):
    """A touch beside its limits."""

    face: str
    centre_nm: int | None
    ask_nm: int | None
    stop_nm: int | None
    values: int
    seatings: int


class ShownEvent(Event[Any]):
    """An event with its receipt, what the fold finds wrong with it now,
    and what was found when it came (JSON).
    """

    server_sequence: int
    received_at_utc: str
    problems: list[Problem]
    problems_when_received: str


class SetupDetail(TypedDict):
    """Everything about one setup."""

    setup: SetupRow
    state: Folded
    sheet: WrittenSheet
    events: list[ShownEvent]
    forks: tuple[Fork, ...]
    decisions: list[Decision]
    numbers: list[TouchNumbers]
    names: dict[str, str]
    record: RecordRow | None
    disposed: ChangeRow | None
    device_name: str | None
    pace: list[PacedStep]
    reviewed: Reviewed
    worries_of_others: list[OpenWorry]
    glance: Glance
    oddities: tuple[Finding, ...]
    meanwhile: tuple[Difference, ...]


WAITING = ("finished", "signed")
MEANING = "reviewed and accepted"


def queue(store: Store) -> list[QueuedSetup]:
    """Finished setups that wait for a decision, oldest first:
    the row, names, how many problems, questions, holds.
    """
    with store.reading():
        names = store.people.names()
        rows = store.setups.setups(status=WAITING)
        paces = pacing.paces(store, [row["id"] for row in rows])
        known = odd_setups.Known(store, rows)
        return [_queued(store, row, names, paces[row["id"]], known) for row in reversed(rows)]


def detail(store: Store, setup_id: str) -> SetupDetail:
    """Everything about one setup; raises NoSuchSetup.

    setup (its row), state (the fold), sheet, events (with receipt and problems), decisions, numbers (see
    `numbers`), names (of people by id), device_name (None: not known), record (row or None), disposed (its
    tombstone or None), pace (see pacing.setup_pace), forks (see domain.chain), reviewed (what a decision
    about it now would be about, see
    domain.reviewed), worries_of_others (open ones about what this setup used), glance (in one look),
    oddities (see domain.setup.oddities; how its values stand to the usual of now aside).
    """
    with store.reading():
        row = store.setups.setup(setup_id)
        if row is None:
            raise NoSuchSetup(setup=setup_id)
        sheet = stored_setups.sheet_of(store, row["sheet"])
        state = stored_setups.fold_stored(store, setup_id)
        device = store.devices.device(row["device"])
        events = _events(store, setup_id, state)
        return {
            "setup": row,
            "state": state,
            "sheet": sheet,
            "events": events,
            "forks": forks(events),
            "decisions": stored_setups.decisions_of(store, setup_id),
            "numbers": numbers(sheet, state),
            "names": store.people.names(),
            "record": (record := store.records.record(setup_id)),
            "disposed": tombstone(store, record) if record else None,
            "device_name": device["name"] if device else None,
            "pace": (pace := pacing.setup_pace(store, setup_id)),
            "oddities": (known := odd_setups.Known(store, [row])).oddities(row, sheet, state, pace),
            "meanwhile": known.differences(row, sheet, state),
            "reviewed": reviewed_now(store, setup_id),
            "worries_of_others": worrying.about_setup(store, sheet, setup_id),
            "glance": at_a_glance.glance(sheet, state),
        }


def reviewed_now(store: Store, setup_id: str) -> Reviewed:
    """The fingerprint of a setup as it stands. Raises NoSuchSetup."""
    with store.reading():
        row = store.setups.setup(setup_id)
        if row is None:
            raise NoSuchSetup(setup=setup_id)
        ids = [id_ for id_, _ in store.events.texts_of(setup_id)]
        decisions = [change_row["text"] for change_row in store.ledger.changes_of_setup(setup_id)]
        return reviewed(setup_id, row["sheet"], ids, decisions)


@dataclass(frozen=True)
class ValuesAtStake:
    """A setup's values as a sign-off finds them, each beside its lines, and whether a seating can begin with
    them.
    """

    joinings: tuple[joining.Joining, ...]
    may_begin_seating: bool

    def standing_as(self, standing: str) -> tuple[joining.Joining, ...]:
        """The values that are `first`, `within` or `beyond`."""
        return tuple(one for one in self.joinings if one.standing == standing)


def values_at_stake(store: Store, setup_id: str) -> ValuesAtStake:
    """The values of a setup as a sign-off would find them now; none of one that is decided about, whose
    values are part of the usual already. Raises NoSuchSetup.
    """
    with store.reading():
        state = stored_setups.fold_stored(store, setup_id)
        if state["sign_off"] or state["not_accepted"]:
            return ValuesAtStake((), may_begin_seating=False)
        sheet = stored_setups.sheet_of(store, state["sheet"])
        return ValuesAtStake(
            joining.joinings(store, sheet, state), joining.may_begin_seating(store, sheet, state)
        )


def fixture_of(store: Store, setup_id: str) -> str:
    """The id of the fixture that a setup was walked on. Raises NoSuchSetup."""
    with store.reading():
        row = store.setups.setup(setup_id)
        if row is None:
            raise NoSuchSetup(setup=setup_id)
        found: str = stored_setups.sheet_of(store, row["sheet"])["fixture"]["id"]
        return found


def numbers(sheet: WrittenSheet, state: Folded) -> list[TouchNumbers]:
    """Each touch beside its limits:
    what was typed, the usual's centre and lines, the difference and the verdict.
    """
    by_axis = {axis["axis"]: axis for axis in sheet["axes"]}
    return [
        {
            **touch,
            "face": by_axis[touch["axis"]]["face"],
            "centre_nm": by_axis[touch["axis"]]["usual"]["centre_nm"],
            "ask_nm": by_axis[touch["axis"]]["usual"]["ask_nm"],
            "stop_nm": by_axis[touch["axis"]]["usual"]["stop_nm"],
            "values": by_axis[touch["axis"]]["usual"]["values"],
            "seatings": by_axis[touch["axis"]]["usual"]["seatings"],
        }
        for touch in state["touches"]
    ]


def sign_off(
    store: Store,
    setup_id: str,
    by: str,
    passphrase: str,
    note: str,
    now: datetime,
    source: str = DESK,
    *,
    seen: str,
    values: joining.ValuesChoice = joining.AS_IT_IS,
) -> None:
    """Sign a setup off: "reviewed and accepted".
    `seen` is the fingerprint of what was read (see reviewed_now). `values` says what becomes of its values.

    Raises SignInRefused, TooManyTries, StoppedAfterTries for the passphrase; RoleMissing, OwnSetup,
    NoSuchSetup, DecidedAlready, SetupChanged, NotFinished, SignatureNotVerified, QuestionsOpen for the setup;
    what `joining.join` raises for its values.
    """
    note = note_text(note)
    _ask_again(store, by, passphrase, now, source)
    with store.writing():
        _sign(store, setup_id, by, note, now, seen, values)


@dataclass(frozen=True)
class Outcome:
    """What came of one setup of a list: signed off where `refused` is None."""

    setup: str
    refused: DomainError | None


def sign_off_together(
    store: Store,
    read: Sequence[tuple[str, str]],
    by: str,
    passphrase: str,
    now: datetime,
    source: str = DESK,
) -> tuple[Outcome, ...]:
    """Sign off a list of plain setups by one entry of the passphrase, each in a transaction and as a change
    of its own; one that is refused keeps none of the others from it. `read` has each setup with the
    fingerprint of what was read.

    Raises SignInRefused, TooManyTries, StoppedAfterTries for the passphrase, and signs nothing then.
    """
    _ask_again(store, by, passphrase, now, source)
    found = []
    for setup_id, seen in read:
        try:
            with store.writing():
                _must_be_plain(store, setup_id, _undecided(store, setup_id, by))
                _sign(store, setup_id, by, "", now, seen, joining.AS_IT_IS)
        except DomainError as refusal:
            found.append(Outcome(setup_id, refusal))
        else:
            found.append(Outcome(setup_id, None))
    return tuple(found)


def _must_be_plain(store: Store, setup_id: str, state: Folded) -> None:
    """Raise NotPlain for a setup that asks for a page, or for a choice, of its own."""
    row = store.setups.setup(setup_id)
    if row is None:
        raise NoSuchSetup(setup=setup_id)
    sheet = stored_setups.sheet_of(store, row["sheet"])
    standings = {one.axis: one.standing for one in joining.joinings(store, sheet, state)}
    pace = pacing.setup_pace(store, setup_id)
    found = odd_setups.Known(store, [row]).oddities(row, sheet, state, pace, standings)
    if found:
        raise NotPlain(found)


def _sign(
    store: Store, setup_id: str, by: str, note: str, now: datetime, seen: str, values: joining.ValuesChoice
) -> None:
    must_be_lead(store, by)
    state = _undecided(store, setup_id, by)
    read = _must_be_as_seen(store, setup_id, seen)
    _must_be_signed(state)
    sheet = stored_setups.sheet_of(store, state["sheet"])
    joined = joining.join(store, sheet, state, values, by, now)
    data = {"meaning": MEANING, "note": note, "reviewed": read, "into_usual": joined}
    change(store, "setup.signed_off", by, setup_id, setup_id, data, now)
    stored_setups.refresh(store, setup_id)


def not_accept(
    store: Store,
    setup_id: str,
    by: str,
    passphrase: str,
    reason: str,
    now: datetime,
    source: str = DESK,
    *,
    seen: str,
) -> None:
    """Say with a reason that a finished setup is not accepted; its values never count.
    Raises as sign_off does.
    """
    reason = reason_text(reason)
    _ask_again(store, by, passphrase, now, source)
    with store.writing():
        must_be_lead(store, by)
        state = _undecided(store, setup_id, by)
        read = _must_be_as_seen(store, setup_id, seen)
        if state["outcome"] is None:
            raise NotFinished
        data = {"reason": reason, "reviewed": read}
        change(store, "setup.not_accepted", by, setup_id, setup_id, data, now)
        stored_setups.refresh(store, setup_id)


def _ask_again(store: Store, by: str, passphrase: str, now: datetime, source: str) -> None:
    if check_secret(store, by, passphrase, now, source) is None:
        raise SignInRefused


def _undecided(store: Store, setup_id: str, by: str) -> Folded:
    """The state of a setup that nobody decided about yet and that `by` did not run."""
    state = stored_setups.fold_stored(store, setup_id)
    decided = state["sign_off"] or state["not_accepted"]
    if decided is not None:
        raise DecidedAlready(by=decided["by"], at_utc=decided["at_utc"])
    if by in {state["person"], *(signature["person"] for signature in state["signatures"])}:
        raise OwnSetup
    return state


def _must_be_as_seen(store: Store, setup_id: str, seen: str) -> Reviewed:
    """What is decided about, if the person has read exactly that."""
    read = reviewed_now(store, setup_id)
    if read["sha256"] != seen:
        raise SetupChanged
    return read


def _must_be_signed(state: Folded) -> None:
    if state["outcome"] is None:
        raise NotFinished
    if not state["signatures"] or state["signatures"][-1]["state"] != "verified":
        raise SignatureNotVerified
    still_open = sum(question["answer"] is None for question in state["questions"])
    if still_open:
        raise QuestionsOpen(count=still_open)


def _queued(
    store: Store, row: SetupRow, names: dict[str, str], pace: list[PacedStep], known: odd_setups.Known
) -> QueuedSetup:
    state = stored_setups.fold_stored(store, row["id"])
    sheet = stored_setups.sheet_of(store, row["sheet"])
    found = known.oddities(row, sheet, state, pace)
    return {
        **row,
        "person_name": names.get(row["person"], row["person"]),
        "machine_name": sheet["machine"]["name"],
        "problems": len(state["problems"]),
        "open_questions": sum(question["answer"] is None for question in state["questions"]),
        "holds": len(state["holds"]),
        "worries": len(state["worries"]),
        "corrections": len(state["corrections"]),
        "pace": pacing.marked(pace),
        "told_squares": sum(square["stands"] and square["told"] for square in state["squares"]),
        "remarks": len(state["remarks"]),
        "not_usable": ", ".join(not_usable_axes(state)),
        "glance": at_a_glance.glance(sheet, state),
        "oddities": found,
        "plain": row["status"] == "signed" and not found,
    }


def _events(store: Store, setup_id: str, state: Folded) -> list[ShownEvent]:
    """The events in order; what the fold finds wrong now stands beside what was found when they came."""
    found: dict[str | None, list[Problem]] = {}
    for problem in state["problems"]:
        found.setdefault(problem["event"], []).append(problem)
    rows = zip(store.events.events_of(setup_id), stored_setups.events_of(store, setup_id), strict=True)
    return [
        {
            **event,
            "server_sequence": row["position"] + 1,
            "received_at_utc": row["received_at_utc"],
            "problems": found.get(event["id"], []),
            "problems_when_received": row["problems"],
        }
        for row, event in rows
    ]
