"""The shop's procedures at the desk: what is in use, and a draft that is worked on (`publishing` makes it a
revision).

Rules:
- a procedure is the shop's, or one fixture's own; a fixture without one is worked by the shop's. A sheet
  takes the one of its fixture when it is compiled: a setup that is under way goes on with the sheet it began
  with;
- a draft is changed by one act at a time. Each act says which draft it was made on; of two who change one
  draft at once the first counts and the other is told by whom it was changed;
- a draft is nobody's decision, so it stands on the ledger only once it is published or thrown away.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING

from webapp.domain.evidence.told import DRAFT, PROCEDURE, SHOPS, own_procedure_id
from webapp.domain.evidence.written_sheet import StageOnSheet
from webapp.domain.plain.errors import Finding
from webapp.domain.procedure.procedure import Procedure, Revision, procedure_from_json, text_of
from webapp.domain.sheet.steps_here import Here, procedure_here
from webapp.domain.shop.fitted_machine import FittedMachine, fixtures_of
from webapp.services.errors import DraftChanged, NoDraft, NoSuchFixture
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.sheets.fitted_machines import fitted_machine
from webapp.services.sheets.stored_rows import procedure_used
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store

# Whose a procedure is: the shop's, or a fixture's id.
PUBLISHED, DISCARDED = "procedure.published", "procedure.draft_discarded"
MOST_PAST = 30


@dataclass(frozen=True)
class Draft:
    """A draft: whose procedure it is to be, the revision that it was begun on, its own fingerprint, who
    changed it last, and its text.
    """

    whose: str
    base: str
    seen: str
    procedure: Procedure
    by: str
    at_utc: str
    text: str


@dataclass(frozen=True)
class Used:
    """A procedure in use: the shop's, or a fixture's own; `name` is the fixture's. `draft` says who works on
    it since when, None where nobody does.
    """

    whose: str
    name: str | None
    revision: Revision
    has_own: bool
    draft: tuple[str, str] | None


@dataclass(frozen=True)
class PastRevision:
    """One publishing, as the ledger tells it. Differences are codes with their fields."""

    at_utc: str
    by: str
    whose: str
    revision: str
    note: str
    changes: tuple[Finding, ...]


def overview(store: Store) -> tuple[Used, ...]:
    """The shop's procedure, then each fixture with the one that it is worked by; none without a shop."""
    with store.reading():
        items = store.shop.items("procedure")
        if PROCEDURE not in items:
            return ()
        fixtures = {key: str(value["name"]) for key, value in store.shop.items("fixture").items()}
        return tuple(
            Used(
                whose,
                name,
                procedure_used(store, None if whose == SHOPS else whose),
                whose == SHOPS or own_procedure_id(whose) in items,
                _worked_on(items.get(draft_id(whose))),
            )
            for whose, name in ((SHOPS, None), *fixtures.items())
        )


def past_revisions(store: Store) -> tuple[PastRevision, ...]:
    """The newest publishings, newest first."""
    with store.reading():
        rows = store.ledger.changes(kind=PUBLISHED, newest=MOST_PAST)
    found = []
    for row in rows:
        data = json.loads(row["text"])["data"]
        changes = tuple(Finding(one["code"], one["fields"]) for one in data.get("changes", ()))
        found.append(
            PastRevision(
                row["at_utc"],
                row["by"],
                data.get("whose", SHOPS),
                data["revision"],
                data.get("note", ""),
                changes,
            )
        )
    return tuple(found)


def used(store: Store, whose: str) -> Revision:
    """The revision that is in use. Raises NoShopYet, NoSuchFixture."""
    with store.reading():
        return used_now(store, whose)


def has_own(store: Store, whose: str) -> bool:
    """Whether a fixture has a procedure of its own."""
    with store.reading():
        return store.shop.item("procedure", own_procedure_id(whose)) is not None


def machines_of(store: Store, whose: str) -> dict[str, str]:
    """Names by id of the machines that are worked by a procedure, or could be."""
    with store.reading():
        found = store.shop.items("machine")
    return {key: str(one["name"]) for key, one in found.items() if whose in (SHOPS, *fixtures_of(one))}


def preview(store: Store, procedure: Procedure, machine_id: str, whose: str = SHOPS) -> list[StageOnSheet]:
    """A procedure that has no fault as a sheet of this machine would have it, with the fixture whose it is
    or the one that is offered first. Raises as `fitted_machine`.
    """
    with store.reading():
        fitted = fitted_machine(store, machine_id, None if whose == SHOPS else whose)
    return stages_at(fitted, Revision("", "", procedure))


def stages_at(fitted: FittedMachine, revision: Revision) -> list[StageOnSheet]:
    """The steps of a revision that has no fault as a sheet of this machine has them; none without a touch."""
    staged = {stage.id for stage in revision.procedure.stages}
    faces = [face for face in fitted.fixture.faces if face.axis.lower() in staged]
    return procedure_here(revision, Here(fitted, faces))["stages"] if faces else []


def sentences(store: Store, whose: str) -> dict[str, str]:
    """What stands for each placeholder at the first machine that is worked by this procedure: the shop's own
    sentences among them. Nothing without a machine.
    """
    machine = next(iter(machines_of(store, whose)), None)
    if machine is None:
        return {}
    with store.reading():
        fitted = fitted_machine(store, machine, None if whose == SHOPS else whose)
    return Here(fitted, fitted.fixture.faces).words


def draft(store: Store, whose: str) -> Draft:
    """The draft. Raises NoDraft."""
    with store.reading():
        return draft_now(store, whose)


def begin(store: Store, whose: str, by: str, now: datetime) -> Draft:
    """Begin a draft from what is in use, or take the one that is there. Raises RoleMissing, NoShopYet,
    NoSuchFixture.
    """
    with store.writing():
        must_be_lead(store, by)
        revision = used_now(store, whose)
        value = store.shop.item("procedure", draft_id(whose))
        if value is None:
            keep_draft(store, whose, revision.hash, revision.text, by, now)
        return draft_now(store, whose)


def edit(
    store: Store, whose: str, seen: str, act: Callable[[Procedure], Procedure], by: str, now: datetime
) -> Draft:
    """Change a draft by one act, made on the draft of this fingerprint.

    Raises RoleMissing, NoDraft, DraftChanged, and what the act raises.
    """
    with store.writing():
        must_be_lead(store, by)
        found = must_be_seen(store, whose, seen)
        text = text_of(act(found.procedure))
        keep_draft(store, whose, found.base, text, by, now)
        return draft_now(store, whose)


def discard(store: Store, whose: str, seen: str, by: str, now: datetime) -> None:
    """Throw a draft away. Raises RoleMissing, NoDraft, DraftChanged."""
    with store.writing():
        must_be_lead(store, by)
        found = must_be_seen(store, whose, seen)
        store.shop.retire("procedure", draft_id(whose))
        data = {"whose": whose, "draft": found.seen, "base": found.base}
        change(store, DISCARDED, by, found.procedure.id, None, data, now)


def used_now(store: Store, whose: str) -> Revision:
    """The same inside the caller's transaction. Raises NoShopYet, NoSuchFixture."""
    if whose != SHOPS and store.shop.item("fixture", whose) is None:
        raise NoSuchFixture(fixture=whose[:40])
    return procedure_used(store, None if whose == SHOPS else whose)


def draft_id(whose: str) -> str:
    """Where the draft of a procedure is kept."""
    return f"{DRAFT}{whose}"


def draft_now(store: Store, whose: str) -> Draft:
    """The draft, inside the caller's transaction. Raises NoDraft."""
    value = store.shop.item("procedure", draft_id(whose))
    if value is None:
        raise NoDraft
    text, base, procedure = value["text"], value["base"], procedure_from_json(value["text"].encode())
    return Draft(whose, base, _fingerprint(text), procedure, value["by"], value["at_utc"], text)


def must_be_seen(store: Store, whose: str, seen: str) -> Draft:
    """The draft of this fingerprint, inside the caller's transaction. Raises NoDraft, DraftChanged."""
    found = draft_now(store, whose)
    if found.seen != seen:
        raise DraftChanged(by=found.by, at_utc=found.at_utc)
    return found


def keep_draft(store: Store, whose: str, base: str, text: str, by: str, now: datetime) -> None:
    """Keep a text as the draft that was begun on a revision, inside the caller's transaction."""
    value = {"base": base, "text": text, "by": by, "at_utc": utc_text(now)}
    store.shop.put("procedure", draft_id(whose), value)


def _worked_on(value: dict[str, str] | None) -> tuple[str, str] | None:
    return (value["by"], value["at_utc"]) if value else None


def _fingerprint(text: str) -> str:
    return sha256(text.encode()).hexdigest()
