"""Taking in the files of pictures that tablets have taken: each once, by the hash that its event names.

Rules:
- bytes are taken only for an event that is stored, and only where they are the bytes that the tablet signed
  for in it: their hash says so, whoever brings them. For anything else nothing is kept and nothing noted;
- what is kept is not what came: the picture is made again as pixels alone, so that no place, no camera and
  no second file comes with it. Both hashes stand on the ledger (photo.kept), as a decision of the setup;
- what is no picture, or another one than the event says, is refused once and for good, with the reason on
  the ledger (photo.refused); its event stays;
- the file is written under its own hash before the ledger names it; where that cannot be written, a file that
  was not there before goes again, unless the ledger names it all the same: another call kept it meanwhile, or
  what was written is there though its answer was lost. A file too many takes room, one too few is evidence
  gone;
- a picture that comes when the setup was decided about is kept all the same: it changes no value, and a lead
  who has not decided yet is shown the setup anew.

Decision: the picture is evidence by the hash of what the tablet sent, and that file is let go. Keeping it as
well would have kept what a camera writes beside the pixels, for as long as records are kept; whoever doubts
the server's copy has the tablet's own, which stays there for thirty days.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING, Literal, TypedDict

from webapp.domain.evidence.folded_setup import Photo
from webapp.domain.plain.errors import Fields, Finding
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.evidence.photo_entries import KEPT, REFUSED, of_setup
from webapp.services.intake.errors import PhotoEventNotHere, PhotoOfOtherBytes
from webapp.services.setups import stored_setups

if TYPE_CHECKING:
    from webapp.store import Store

# Bytes, width and height that the event says; the file made again, or why none is.
MakeAgain = Callable[[bytes, int, int], bytes | Finding]


class PictureReceipt(TypedDict):
    """What a tablet is told of a picture; `code` and `fields` say why it is refused."""

    event: str
    outcome: Literal["kept", "refused"]
    code: str | None
    fields: Fields


def is_named(store: Store, event_id: str, data: bytes) -> bool:
    """Whether a stored event names exactly these bytes: a tablet in use once signed for them."""
    with store.reading():
        found = _event(store, event_id)
    return found is not None and found[1] == _named(data)


def take_picture(
    store: Store, event_id: str, data: bytes, make_again: MakeAgain, now: datetime
) -> PictureReceipt:
    """Keep the picture of an event, or say why it is refused; brought again it gets the same answer.

    Raises PhotoEventNotHere, PhotoOfOtherBytes, what `make_again` raises, StoreError; then nothing is kept.
    """
    with store.reading():
        found = _event(store, event_id)
        if found is None:
            raise PhotoEventNotHere
        if found[1] != _named(data):
            raise PhotoOfOtherBytes
        setup, photo = found[0], _photo(store, found[0], event_id)
    if photo is None:
        return _receipt(event_id, Finding("services.photo_not_counted"))
    if photo["picture"] is not None:
        return _told(event_id, photo)
    made = make_again(data, photo["width"], photo["height"])
    if isinstance(made, Finding):
        return _refuse(store, setup, photo, made, now)
    return _keep(store, setup, photo, made, now)


def _event(store: Store, event_id: str) -> tuple[str, tuple[str, int]] | None:
    """The setup of a stored photo.taken, and hash and size that it names; None for any other id."""
    found = store.events.events_by_id([event_id]).get(event_id)
    if found is None or found["type"] != "photo.taken":
        return None
    setup = found["setup"]
    event = next(one for one in stored_setups.events_of(store, setup) if one["id"] == event_id)
    return setup, (event["data"]["sha256"], event["data"]["bytes"])


def _named(data: bytes) -> tuple[str, int]:
    return sha256(data).hexdigest(), len(data)


def _photo(store: Store, setup: str, event_id: str) -> Photo | None:
    """The photo as the setup counts it now, None where the fold let it out."""
    photos = stored_setups.fold_stored(store, setup)["photos"]
    return next((one for one in photos if one["event"] == event_id), None)


def _keep(store: Store, setup: str, photo: Photo, made: bytes, now: datetime) -> PictureReceipt:
    digest = sha256(made).hexdigest()
    was_there = store.photos.path(digest).exists()
    store.photos.write(made)
    try:
        said = {"sha256": digest, "bytes": len(made), "width": photo["width"], "height": photo["height"]}
        return _note(store, setup, photo, KEPT, said, now, made)
    except BaseException:
        if not was_there:
            _take_away(store, setup, digest)
        raise


def _take_away(store: Store, setup: str, digest: str) -> None:
    """Take a file away again that the ledger does not name; it stays where nobody can say whether it does."""
    with suppress(Exception), store.writing():
        if all(one.sha256 != digest for one in of_setup(store, setup)):
            store.photos.remove(digest)


def _refuse(store: Store, setup: str, photo: Photo, why: Finding, now: datetime) -> PictureReceipt:
    return _note(store, setup, photo, REFUSED, {"code": why.code, "fields": why.fields}, now)


def _note(
    store: Store,
    setup: str,
    photo: Photo,
    kind: str,
    said: dict[str, object],
    now: datetime,
    made: bytes | None = None,
) -> PictureReceipt:
    """Put it onto the ledger, unless another call did so meanwhile; the receipt. The file that is `made` is
    there then, though another call took it away since.
    """
    event = photo["event"]
    named = {"event": event, "sent_sha256": photo["sha256"]}
    with store.writing():
        known = _photo(store, setup, event)
        if known is None or known["picture"] is None:
            if made is not None:
                store.photos.write(made)
            change(store, kind, SERVER, event, setup, {**named, **said}, now)
            known = _photo(store, setup, event)
    return _told(event, known or photo)


def _told(event_id: str, photo: Photo) -> PictureReceipt:
    picture = photo["picture"]
    refused = picture is not None and picture["code"] is not None
    why = Finding(picture["code"] or "", picture["fields"]) if picture is not None and refused else None
    return _receipt(event_id, why)


def _receipt(event_id: str, why: Finding | None) -> PictureReceipt:
    if why is None:
        return {"event": event_id, "outcome": "kept", "code": None, "fields": {}}
    return {"event": event_id, "outcome": "refused", "code": why.code, "fields": why.fields}
