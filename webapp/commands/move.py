"""`zerokeep move --to ADDRESS`: carry the whole shop into another database, and say so when it is the same
there.
"""

from __future__ import annotations

from webapp.commands.opening import has_shop
from webapp.settings import BadSetting, Settings, database_address
from webapp.store import Store
from webapp.store.moving import carry

MOVED, NOTHING_TO_MOVE = 0, 2


def move(settings: Settings, to: str) -> int:
    """Print what went over. Raises BadSetting and StoreError, and then the shop is where it was and nothing
    there.
    """
    address = database_address(to)
    if address is None or address == settings.database:
        raise BadSetting("settings.move_to")
    if not has_shop(settings):
        return NOTHING_TO_MOVE
    source = Store.open(settings.database, settings.files_folder)
    target = Store.open(address, settings.files_folder)
    try:
        carried = carry(source, target)
    finally:
        target.close()
        source.close()
    where = target.where
    print(f"Carried over: {carried.rows} rows, the same on both sides, into {where}.")
    print(f"The ledger there has the same {carried.entries} entries and the same root, {carried.root}.")
    print(
        "From now on start the server with ZEROKEEP_DATABASE naming that one. Sealed records and pictures "
        f"stay in {settings.files_folder}. Put the old database away: "
        "nothing keeps two servers from going on with one each."
    )
    return MOVED
