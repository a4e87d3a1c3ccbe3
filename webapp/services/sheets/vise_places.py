"""Where the vises of a machine usually stand in its coordinates, for whoever draws its travel."""

from __future__ import annotations

from typing import TYPE_CHECKING

from webapp.domain.drawing.travel import VisePlace
from webapp.services.errors import ServiceError
from webapp.services.sheets.fitted_machines import fitted_machine, places_on
from webapp.services.sheets.preparing import usuals

if TYPE_CHECKING:
    from collections.abc import Iterator

    from webapp.store import Store


def vise_places(store: Store, machine_id: str) -> list[VisePlace]:
    """The touched place of every fixture on a machine of which X and Y are known from before; none for a
    machine that is not in use, or not whole.
    """
    return list(_known(store, machine_id))


def _known(store: Store, machine_id: str) -> Iterator[VisePlace]:
    with store.reading():
        bolted = places_on(store, machine_id)
    for place in bolted:
        try:
            found = usuals(store, machine_id, place.fixture)
            with store.reading():
                name = fitted_machine(store, machine_id, place.fixture).fixture.name
        except ServiceError:
            continue
        x, y = (found[axis].centre_nm if axis in found else None for axis in ("X", "Y"))
        if x is not None and y is not None:
            yield VisePlace(name, x, y)
