"""The tablets of a shop, a page at a time, found by a part of their name or by the beginning of their key.

Rule: all of them are read, because what the page warns of is asked of all; a page is short all the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from webapp.domain.plain.folding import folded

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import DeviceRow

TABLETS_A_PAGE = 100


@dataclass(frozen=True)
class FoundTablets:
    """Tablets of one page by name; `more` is the last of them where others follow. Of all tablets: how many
    there are, whether the history of one splits, and whether one in use has a storage that is not protected.
    """

    tablets: tuple[DeviceRow, ...]
    more: str | None
    count: int
    is_split: bool
    is_unprotected: bool


def tablets(store: Store, find: str = "", after: str = "", with_: str = "") -> FoundTablets:
    """Those whose name has `find` in it, or whose key begins so; behind the tablet `after`, if any.
    `with_`: a tablet that has to be among them, alone where it is not on the first page.
    """
    with store.reading():
        everything = store.devices.everything()
    wanted = [one for one in everything if _fits(one, find)]
    ids = [one["id"] for one in wanted]
    if with_ in ids[TABLETS_A_PAGE:]:
        wanted = [one for one in wanted if one["id"] == with_]
    elif after in ids:
        wanted = wanted[ids.index(after) + 1 :]
    shown = tuple(wanted[:TABLETS_A_PAGE])
    in_use = [one for one in everything if one["state"] != "disabled"]
    return FoundTablets(
        shown,
        shown[-1]["id"] if len(wanted) > len(shown) else None,
        len(everything),
        any(one["state"] == "forked" for one in everything),
        any(one["health"] is not None and one["health"]["persisted"] is False for one in in_use),
    )


def _fits(one: DeviceRow, find: str) -> bool:
    return folded(find) in folded(one["name"]) or one["id"].startswith(find)
