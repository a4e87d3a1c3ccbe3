"""What a lead had before their eyes when they decided: one fingerprint over a setup's events and decisions.

Rules of this module:
- The fingerprint is the SHA-256 of the canonical JSON of setup, sheet, the ids of the events in the tablet's
  order and the hashes of the decisions before; an event's id is itself a hash of what was signed. Whoever
  holds a record can work it out again.
- A decision says over how many events it was made: what comes later stands behind those, and does not count.
- A signature is linked to what was signed so that it cannot be put under something else (21 CFR 11.70,
  taken as a good list).

Decision: a decision is about what was read. The desk's page carries this fingerprint; sign-off and refusal
come with it and are turned down when the setup is another by then. A lock on the setup would have kept late
events of a tablet waiting; a version number would have said nothing outside the server. Events that come
after the sign-off are printed and told by `verify`, and not covered.
"""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from typing import Any, TypedDict

from webapp.domain.plain.json_strict import canonical_bytes

REVIEWED_DOMAIN = "zerokeep/reviewed/1"


class Reviewed(TypedDict):
    """How many events there were, and the fingerprint in lower-case hex."""

    events: int
    sha256: str


def reviewed(setup: str, sheet_hash: str, events: Sequence[str], decisions: Sequence[str]) -> Reviewed:
    """Return what was reviewed: `events` are ids in the tablet's order,
    `decisions` the texts of those before.
    """
    value = {
        "domain": REVIEWED_DOMAIN,
        "setup": setup,
        "sheet": sheet_hash,
        "events": list(events),
        "decisions": [sha256(text.encode("utf-8")).hexdigest() for text in decisions],
    }
    return {"events": len(events), "sha256": sha256(canonical_bytes(value)).hexdigest()}


def fits(
    claim: Any, setup: str, sheet_hash: str, events: Sequence[str], decisions_before: Sequence[str]
) -> bool:
    """Tell whether a decision's `reviewed` is what these events,
    as far as it counts them, and decisions give.
    """
    if (
        not isinstance(claim, dict)
        or claim.keys() != {"events", "sha256"}
        or type(claim["events"]) is not int
    ):
        return False
    count = claim["events"]
    if not 0 < count <= len(events):
        return False
    return claim == reviewed(setup, sheet_hash, events[:count], decisions_before)
