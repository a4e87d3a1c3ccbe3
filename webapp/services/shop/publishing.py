"""A draft that becomes the revision which sheets are compiled from.

Rules:
- publishing asks `domain.procedure.rules` for every reason against it, and for each machine that is worked by
  it whether its sheet would hold (`services.sheets.holding_here`);
- what it would change is looked at first, and what is published is what was looked at: the draft, what it
  takes the place of, and the steps that each machine's sheet gets;
- it stands on the ledger with the revision before, the change note and all that differs. A published text
  stays for ever under its hash;
- a draft that was begun before somebody else published is told so and publishes nothing over it
  (`drafts_behind`).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING, NamedTuple

from webapp.domain.evidence.told import AT_DESK, PROCEDURE, SHOPS, own_procedure_id
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.procedure.editing import differences
from webapp.domain.procedure.procedure import Procedure, Revision
from webapp.domain.procedure.procedure import publish as published
from webapp.domain.shop.fitted_machine import FittedMachine, Place
from webapp.services.errors import NothingChanged, NotLookedAt
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.sheets.fitted_machines import fitted_machine
from webapp.services.sheets.holding_here import ShortAt, must_hold, short_at, worked_by
from webapp.services.shop.drafts_behind import must_not_be_behind
from webapp.services.shop.procedures import PUBLISHED, draft_id, must_be_seen, stages_at, used_now
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store


def falls_short(store: Store, whose: str, procedure: Procedure) -> tuple[ShortAt, ...]:
    """The machines at which a procedure without faults would not hold if it were published now."""
    with store.reading():
        return short_at(store, procedure, worked_by(store, whose))


@dataclass(frozen=True)
class Look:
    """What publishing a draft would do: what differs then, the machines that would be worked by it, by name,
    and a digest of all that.
    """

    changes: tuple[Finding, ...]
    machines: tuple[str, ...]
    digest: str


class _Ready(NamedTuple):
    """A draft that nothing stands in the way of: what is in use, what would be, and at which machines."""

    before: Revision
    revision: Revision
    where: list[Place]


def look(store: Store, whose: str, seen: str, by: str) -> Look:
    """What publishing this draft would do now; nothing is published. Raises as `publish` does."""
    with store.reading():
        must_be_lead(store, by)
        return _look(store, whose, _ready(store, whose, seen))


def publish(store: Store, whose: str, seen: str, looked: str, note: str, by: str, now: datetime) -> Revision:
    """Publish a draft as the revision that sheets are compiled from now on; `looked` is the digest of what
    the person looked at.

    Raises RoleMissing, ReasonMissing, NoDraft, DraftChanged, DraftBehind, NothingChanged,
    ProcedureRefusedError, ProcedureFallsShort, NotLookedAt.
    """
    note = reason_text(note)
    with store.writing():
        must_be_lead(store, by)
        ready = _ready(store, whose, seen)
        if _look(store, whose, ready).digest != looked:
            raise NotLookedAt
        _put(store, whose, ready.revision)
        _on_ledger(store, whose, ready.before, ready.revision, note, by, now)
        return ready.revision


def _ready(store: Store, whose: str, seen: str) -> _Ready:
    found, before = must_be_seen(store, whose, seen), used_now(store, whose)
    must_not_be_behind(store, found, before)
    revision, where = published(found.procedure), worked_by(store, whose)
    if revision.hash == before.hash:
        raise NothingChanged
    must_hold(short_at(store, revision.procedure, where))
    return _Ready(before, revision, where)


def _look(store: Store, whose: str, ready: _Ready) -> Look:
    fitted = [one for place in ready.where if (one := _fitted(store, place))]
    steps = {" ".join(one.place): stages_at(one, ready.revision) for one in fitted}
    told = {"whose": whose, "before": ready.before.hash, "revision": ready.revision.hash, "steps": steps}
    changes = differences(ready.before.procedure, ready.revision.procedure)
    digest = sha256(canonical_text(told).encode()).hexdigest()
    return Look(changes, tuple(dict.fromkeys(one.machine.name for one in fitted)), digest)


def _fitted(store: Store, place: Place) -> FittedMachine | None:
    """A machine with its parts; None for one without all of them, which has no sheet."""
    try:
        return fitted_machine(store, *place)
    except DomainError:
        return None


def _put(store: Store, whose: str, revision: Revision) -> None:
    """Take a revision into use in the place of the draft."""
    value = {"hash": revision.hash, "text": revision.text, "from": AT_DESK}
    store.shop.put("procedure", revision.hash, value)
    store.shop.put("procedure", PROCEDURE if whose == SHOPS else own_procedure_id(whose), value)
    store.shop.retire("procedure", draft_id(whose))


def _on_ledger(
    store: Store, whose: str, before: Revision, revision: Revision, note: str, by: str, now: datetime
) -> None:
    found = differences(before.procedure, revision.procedure)
    changes = [{"code": one.code, "fields": dict(one.fields)} for one in found]
    data: dict[str, object] = {"revision": revision.hash, "before": before.hash, "whose": whose}
    data |= {"note": note, "changes": changes}
    change(store, PUBLISHED, by, revision.procedure.id, None, data, now)
