"""`zerokeep secrets PERSON`: begin a person anew, on the server's own machine, where no lead can or nobody is
let in.

Whoever may write in the data folder may do this: they hold the database as well. It stands on the ledger.
"""

from __future__ import annotations

import json
import sys

from webapp.chance import first_secret
from webapp.clocks import utc_now
from webapp.commands.opening import has_shop, opened
from webapp.services.evidence.ledger import SERVER
from webapp.services.people.access import FIRST_SECRETS_DAYS, give_first_secrets
from webapp.services.people.secret_rules import hash_passphrase, hash_pin
from webapp.settings import Settings

DONE, NOBODY, NO_SHOP = 0, 1, 2


def secrets(settings: Settings, person_id: str, *, as_json: bool) -> int:
    """Give first secrets, show them once, forget the counts of failed tries. 1 where nobody has this id."""
    if not has_shop(settings):
        return NO_SHOP
    passphrase, pin = first_secret("passphrase"), first_secret("pin")
    with opened(settings) as (store, keyring):
        with store.reading():
            people = {row["id"]: row["name"] for row in store.people.everybody()}
        if person_id not in people:
            print(
                f"Nobody is “{person_id}”. There are: {', '.join(sorted(people)) or 'no people yet'}.",
                file=sys.stderr,
            )
            return NOBODY
        hashes = hash_passphrase(passphrase), hash_pin(keyring.pepper, person_id, pin)
        with store.writing():
            give_first_secrets(store, person_id, hashes, SERVER, utc_now())
    if as_json:
        print(json.dumps({"person": person_id, "passphrase": passphrase, "pin": pin}))
        return DONE
    print(f"{people[person_id]} signs in once with this passphrase: {passphrase}")
    print(
        f"and chooses a passphrase and a PIN then (first PIN: {pin}). Both are good for {FIRST_SECRETS_DAYS} "
        "days."
    )
    print(
        "What was counted of failed tries is forgotten, all sessions have ended, and it stands on the ledger."
    )
    return DONE
