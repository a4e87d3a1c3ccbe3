"""A draft that was begun on a revision which is not in use any more: what is in use now, and how the draft
goes on.

Rules:
- nothing of the draft is lost: it stays as it is, beside what somebody else published meanwhile;
- a lead takes it onto what is in use now, having seen that: from then on it is compared with that, and what
  publishing it would undo of the others' work is among what is shown before. Nothing is joined by itself;
- of one who looked at an earlier state of things the press is refused.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import Finding
from webapp.domain.procedure.editing import differences
from webapp.domain.procedure.procedure import Revision
from webapp.services.errors import DraftBehind, NotLookedAt
from webapp.services.people.access import must_be_lead
from webapp.services.shop.procedures import PUBLISHED, Draft, draft_now, keep_draft, must_be_seen, used_now

if TYPE_CHECKING:
    from webapp.store import Store


@dataclass(frozen=True)
class Behind:
    """What is in use now, who published it when and why, what differs in it from what the draft was begun on
    (None: that is not kept), and what the draft changed there.
    """

    revision: Revision
    by: str
    at_utc: str
    note: str
    meanwhile: tuple[Finding, ...] | None
    mine: tuple[Finding, ...] | None


def behind(store: Store, whose: str, draft: Draft) -> Behind | None:
    """What a draft is behind, None for one that was begun on what is in use. Raises NoShopYet,
    NoSuchFixture.
    """
    with store.reading():
        used = used_now(store, whose)
        if draft.base == used.hash:
            return None
        base = _kept(store, draft.base)
        by, at_utc, note = _published(store, used.hash)
    meanwhile = differences(base.procedure, used.procedure) if base else None
    mine = differences(base.procedure, draft.procedure) if base else None
    return Behind(used, by, at_utc, note, meanwhile, mine)


def must_not_be_behind(store: Store, draft: Draft, used: Revision) -> None:
    """Raise DraftBehind for a draft that was begun on another revision; inside the caller's transaction."""
    if draft.base != used.hash:
        by, at_utc, _ = _published(store, used.hash)
        raise DraftBehind(revision=used.hash[:12], by=by, at_utc=at_utc)


def take_over(store: Store, whose: str, seen: str, onto: str, by: str, now: datetime) -> Draft:
    """Let a draft go on as it is from what is in use now; `onto` is the revision that the person saw.

    Raises RoleMissing, NoDraft, DraftChanged, NotLookedAt.
    """
    with store.writing():
        must_be_lead(store, by)
        found = must_be_seen(store, whose, seen)
        used = used_now(store, whose)
        if used.hash != onto:
            raise NotLookedAt
        keep_draft(store, whose, used.hash, found.text, by, now)
        return draft_now(store, whose)


def _kept(store: Store, revision: str) -> Revision | None:
    value = store.shop.item("procedure", revision)
    return Revision.from_text(value["text"], value["hash"]) if value else None


def _published(store: Store, revision: str) -> tuple[str, str, str]:
    """By whom a revision was published last, when, and with which note."""
    for row in store.ledger.changes(kind=PUBLISHED, newest=None):
        data = json.loads(row["text"])["data"]
        if data["revision"] == revision:
            return row["by"], row["at_utc"], data.get("note", "")
    return "", "", ""
