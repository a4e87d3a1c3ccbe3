"""Pictures in the steps of a draft: added, taken out, and handed to whoever may see them.

Rules:
- what is kept is made of the pixels alone, small, by a process that can reach nothing: no place, no camera
  and no second file comes with it. It is kept by its hash, which the text of the draft names;
- the file is written before a draft names it. One that no draft took stays, as does one of a revision that is
  out of use: setups that were done by it name it for as long as their records are kept;
- a picture is no value and nobody's: whoever reads procedures may see it, and every tablet in use.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import Finding
from webapp.domain.procedure import editing
from webapp.domain.procedure.pictures import Shrunk
from webapp.domain.procedure.procedure import Picture, Procedure
from webapp.services.errors import NoSuchPicture, StepPictureRefused
from webapp.services.people.access import must_be_lead
from webapp.services.shop.procedures import Draft, edit, must_be_seen

if TYPE_CHECKING:
    from webapp.store import Store

Shrink = Callable[[bytes], Shrunk | Finding]


def put(
    store: Store,
    whose: str,
    seen: str,
    step_id: str,
    data: bytes,
    shows: str,
    shrink: Shrink,
    by: str,
    now: datetime,
) -> Draft:
    """Let a step of the draft show this picture.

    Raises RoleMissing, NoDraft, DraftChanged, NoSuchStepError, StepPictureRefused, StoreError, and what
    `shrink` raises.
    """
    with store.reading():
        must_be_lead(store, by)
        editing.step_of(must_be_seen(store, whose, seen).procedure, step_id)
    made = shrink(data)
    if isinstance(made, Finding):
        raise StepPictureRefused(why_code=made.code)
    picture = Picture(store.step_pictures.write(made.data), made.width, made.height, shows)
    return edit(store, whose, seen, lambda one: _with(one, step_id, picture), by, now)


def say_otherwise(
    store: Store, whose: str, seen: str, step_id: str, shows: str, by: str, now: datetime
) -> Draft:
    """Say in other words what the picture of a step shows. Raises as `editing`."""

    def act(one: Procedure) -> Procedure:
        picture = editing.step_of(one, step_id).picture
        return one if picture is None else _with(one, step_id, replace(picture, shows=shows))

    return edit(store, whose, seen, act, by, now)


def take_out(store: Store, whose: str, seen: str, step_id: str, by: str, now: datetime) -> Draft:
    """Let a step of the draft show no picture. Raises as `editing`."""
    return edit(store, whose, seen, lambda one: _with(one, step_id, None), by, now)


def picture(store: Store, digest: str) -> bytes:
    """The JPEG file of this SHA-256. Raises NoSuchPicture."""
    data = store.step_pictures.whole(digest) if len(digest) == 64 and digest.isalnum() else None
    if data is None:
        raise NoSuchPicture(picture=digest[:64])
    return data


def _with(procedure: Procedure, step_id: str, picture: Picture | None) -> Procedure:
    return editing.with_step(procedure, replace(editing.step_of(procedure, step_id), picture=picture))
