"""Reading an event that was verified and looked at before it was stored."""

from __future__ import annotations

import json
from typing import Any

from webapp.domain.evidence.event_kinds import Event
from webapp.proof.keys.encoding import from_base64url


def stored_event(id_: str, jws: str) -> Event[Any]:
    """The event in a text that was verified and looked at before it was stored, with its id put in."""
    event: Event[Any] = json.loads(from_base64url(jws.split(".")[1]))
    event["id"] = id_
    return event
