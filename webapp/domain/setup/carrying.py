"""Whether what a carried caution cites was acknowledged at all.

Rules of this module:
- The fold of one setup looks at who may carry and how long ago it was; what it cites stands in another setup.
  The server looks that up when the event comes: a tablet writes its events one after another, so whatever it
  can cite has come before, or comes in the same upload.
- It has to be the same person's, at the same tablet and the same machine, of the same caution in the same
  words, at the time that is claimed, and it has to have counted in its own setup.
"""

from __future__ import annotations

from dataclasses import dataclass

from webapp.domain.evidence.event_kinds import CautionCarried, Event
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.evidence.written_sheet import CautionOnSheet, WrittenSheet
from webapp.domain.setup.state import AnyEvent


@dataclass(frozen=True, slots=True)
class Cited:
    """An event that is cited, the sheet that it was made on, and whether it counted in its setup."""

    event: AnyEvent
    sheet: WrittenSheet
    counted: bool


def is_founded(carried: Event[CautionCarried], sheet: WrittenSheet, cited: Cited | None) -> bool:
    """Tell whether `cited` (None:
    no such event is known) acknowledged what `carried`, made on `sheet`, says.
    """
    if cited is None or not cited.counted or cited.event["type"] != "caution.read":
        return False
    data, event = carried["data"], cited.event
    words = caution_on(sheet, data["caution"])
    return (
        event["id"] == data["read_event"]
        and event["person"] == carried["person"]
        and event["device"] == carried["device"]
        and event["at_utc"] == data["read_at_utc"]
        and event["data"]["caution"] == data["caution"]
        and cited.sheet["machine"]["id"] == sheet["machine"]["id"]
        and words is not None
        and caution_on(cited.sheet, data["caution"]) == words
    )


def caution_on(sheet: WrittenSheet, caution: str) -> CautionOnSheet | None:
    """Return a caution as a sheet words it, None where it has none of that name."""
    steps = planned_steps(sheet).values()
    return next(
        (step["caution"] for step in steps if step["caution"] and step["caution"]["id"] == caution), None
    )
