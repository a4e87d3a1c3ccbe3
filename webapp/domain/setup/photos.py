"""Pictures that a person takes at a step: the vise as found, the probe as left.

Rules of this module:
- A picture is offered, never asked for: nothing waits for one, and no step closes by one.
- The event names the file by its hash. The file comes later, by its own call, or never.
- One that is taken again at the same step takes the place of the one before, which stays in the record.
- What came of the file holds whenever it is said: before the event is looked at, or after it.
"""

from __future__ import annotations

from webapp.domain.evidence.decisions import PhotoKept, PhotoRefused
from webapp.domain.evidence.event_kinds import Event, PhotoTaken
from webapp.domain.evidence.folded_setup import Photo, Picture
from webapp.domain.setup.state import Refused, SetupState

# Of one setup: some for each step that offers one, and no flood.
MOST_PHOTOS = 24


def take_photo(state: SetupState, event: Event[PhotoTaken]) -> None:
    """Photo.taken: only where the sheet offers one."""
    step = state.plan.get(event["step"] or "")
    shows = "" if step is None else step.get("photo", "")
    if step is None or not shows:
        raise Refused("setup.photo_not_offered", step=event["step"] or "")
    if len(state.photos) >= MOST_PHOTOS:
        raise Refused("setup.photos_too_many", most=MOST_PHOTOS)
    for earlier in state.photos:
        if earlier["step"] == step["id"]:
            earlier["stands"] = False
    state.photos.append({
        "step": step["id"],
        "shows": shows,
        "sha256": event["data"]["sha256"],
        "bytes": event["data"]["bytes"],
        "width": event["data"]["width"],
        "height": event["data"]["height"],
        "at_utc": event["at_utc"],
        "event": event["id"],
        "stands": True,
        "picture": None,
    })  # fmt: skip


def settle_picture(state: SetupState, decision: PhotoKept | PhotoRefused) -> None:
    """Photo.kept, photo.refused: the file came."""
    at_utc = decision["at_utc"]
    if decision["type"] == "photo.kept":
        kept = decision["data"]
        size = kept["bytes"]
        picture: Picture = {
            "at_utc": at_utc, "sha256": kept["sha256"], "bytes": size, "code": None, "fields": {}
        }  # fmt: skip
    else:
        refused = decision["data"]
        code, fields = refused["code"], refused["fields"]
        picture = {"at_utc": at_utc, "sha256": None, "bytes": None, "code": code, "fields": fields}
    state.pictures[decision["data"]["event"]] = picture


def photos_of(state: SetupState) -> list[Photo]:
    """Return the photos in the order in which they were taken, each with what came of its file."""
    return [{**photo, "picture": state.pictures.get(photo["event"])} for photo in state.photos]
