"""What a person is called: a digest of it on the ledger, that tells nobody anything, and a row beside it.

Rules:
- an entry of the ledger is for ever, so it names a person by their id and holds the name as an HMAC-SHA-256
  under a salt of 256 bits. Name and salt are one row that can be erased; without it nobody can tell by the
  digest whether a name that they guess is the one;
- an account whose name is erased stays out of use: nobody signs without a name. Where the name stands
  already (sealed records, sheets, copies that left, backups) it stays, and the page says so.
"""

from __future__ import annotations

import hmac
from collections.abc import Mapping, Sequence
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING

from webapp.proof.keys.salt import new_salt
from webapp.services.errors import NameErased, NoSuchPerson
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.people.access import must_be_lead
from webapp.services.people.errors import PersonInUse

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import PersonRow

NAME_ERASED = "person.name_erased"


def name_hash(name: str, salt: str) -> str:
    """What the ledger has of a name, lower-case hex."""
    return hmac.new(salt.encode(), name.encode("utf-8", "surrogatepass"), sha256).hexdigest()


def add(store: Store, person: str, name: str, roles: Sequence[str]) -> Mapping[str, object]:
    """Open an account inside the caller's transaction; what its entry on the ledger says."""
    salt = new_salt()
    store.people.add(person, name, roles, salt)
    return {"name_sha256": name_hash(name, salt), "roles": list(roles)}


def call(store: Store, person: PersonRow, name: str) -> Mapping[str, object]:
    """Give a person another name inside the caller's transaction; what the entry says, old and new.
    Raises NameErased.
    """
    before = hash_of(person)
    if name == person["name"]:
        return {"name_sha256": before, "name_sha256_before": before}
    salt = new_salt()
    store.people.call(person["id"], name, salt)
    return {"name_sha256": name_hash(name, salt), "name_sha256_before": before}


def hash_of(person: PersonRow) -> str:
    """What the ledger has of a person's present name. Raises NameErased."""
    if person["salt"] is None:
        raise NameErased(person=person["id"])
    return name_hash(person["name"], person["salt"])


def erase(store: Store, person_id: str, by: str, now: datetime) -> None:
    """Erase the name and the salt of somebody whose account is out of use; `by` is a lead or SERVER.

    Raises RoleMissing, NoSuchPerson, PersonInUse, NameErased.
    """
    with store.writing():
        if by != SERVER:
            must_be_lead(store, by)
        person = store.people.person(person_id)
        if person is None:
            raise NoSuchPerson(person=person_id[:80])
        if person["active"]:
            raise PersonInUse(person=person_id)
        said = {"before": {"name_sha256": hash_of(person)}}
        store.people.erase_name(person_id)
        change(store, NAME_ERASED, by, person_id, None, said, now)
