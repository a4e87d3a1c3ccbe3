"""The pictures that published steps show, looked for as files with the bytes that were kept.

Rules: a revision names its pictures by hash, so a revision that fits the ledger says which files have to lie
there, those of revisions that are out of use too: setups that were done by them name them. A draft is
nobody's decision; a picture of its own is named by nobody yet.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import TYPE_CHECKING

from webapp.domain.evidence.told import DRAFT
from webapp.services.evidence.ledger_walk import Fault

if TYPE_CHECKING:
    from webapp.store import Store


def misfits(store: Store) -> Iterator[Fault]:
    """Pictures of steps that are gone or another file, each named with a step that shows it."""
    with store.reading():
        kept = {**store.shop.items_out_of_use("procedure"), **store.shop.items("procedure")}
    shown = {
        digest: step
        for id_, value in kept.items()
        if not id_.startswith(DRAFT)
        for digest, step in _shown(value["text"])
    }
    for digest, step in sorted(shown.items()):
        if not store.step_pictures.is_whole(digest):
            yield Fault("audit.step_picture", f"picture {digest} of step {step}")


def _shown(procedure: str) -> Iterator[tuple[str, str]]:
    for stage in json.loads(procedure)["stages"]:
        for step in stage["steps"]:
            if step.get("picture"):
                yield step["picture"]["sha256"], step["id"]
