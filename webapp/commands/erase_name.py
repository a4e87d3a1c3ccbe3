"""`zerokeep erase-name PERSON`: erase the name of somebody whose account is out of use, on the ledger."""

from __future__ import annotations

from webapp.clocks import utc_now
from webapp.commands.opening import has_shop, opened
from webapp.services.evidence.ledger import SERVER
from webapp.services.people import names
from webapp.settings import Settings

DONE, NO_SHOP = 0, 2
SAID = """The name of {person} is erased; it stands on the ledger. What stays: the short name, and the name in
sealed records, in every sheet made for a tablet before, in free text, and in every copy made before."""


def erase_name(settings: Settings, person: str) -> int:
    """Erase name and salt, and say what stays. Raises as `opened` and `names.erase` do."""
    if not has_shop(settings):
        return NO_SHOP
    with opened(settings) as (store, _):
        names.erase(store, person, SERVER, utc_now())
    print(SAID.format(person=person))
    return DONE
