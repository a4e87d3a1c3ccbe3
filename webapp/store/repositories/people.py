"""People, their roles, their hashed secrets and what they may run."""

import json
from collections.abc import Sequence
from typing import Any, cast

from webapp.store.repositories.base import Repository
from webapp.store.rows import AuthorisationRow, PersonRow
from webapp.store.tables.people import Authorisation, Person, PersonName

ACCOUNT = (
    Person.id, Person.roles, Person.active, Person.disabled_at_utc, Person.passphrase_hash, Person.pin_hash,
    Person.must_change, Person.must_change_pin, Person.first_secrets_until_utc,
)  # fmt: skip
NAME = PersonName.name
DISABLED_AMONG = (
    "SELECT id, disabled_at_utc FROM person WHERE disabled_at_utc IS NOT NULL AND id IN ({these})"
)
# In the place of an erased name stands the id, with this in the place of the salt: lists go by one index.
ERASED = "0" * 64


class PeopleRepository(Repository):
    """Accounts, their names and authorisations. `roles` is a list of words: operator, lead, auditor."""

    def person(self, person_id: str) -> PersonRow | None:
        """One account, or None."""
        row = self._row(_people().where(Person.id == person_id))
        return _read(row) if row else None

    def everybody(self) -> list[PersonRow]:
        """All accounts, disabled ones too, by name."""
        return [_read(row) for row in self._rows(_people().order_by(NAME, Person.id))]

    def names(self) -> dict[str, str]:
        """What everybody is called, by id, the id itself where the name was erased."""
        return dict(self._database.raw("SELECT person, name FROM person_name"))

    def named_in_account(self) -> list[str]:
        """Accounts that have a name in their own row, where it could not be erased: none in a whole store."""
        return [row["id"] for row in self._rows(Person.select(Person.id).where(Person.name != ""))]

    def listed(
        self, *, find: str = "", after: tuple[str, str] | None = None, most: int = 100
    ) -> list[PersonRow]:
        """Accounts by name, those whose name or id has `find` in it;
        `after` is (name, id) of the last of a page.
        """
        page = PersonName.alias()
        ids = page.select(page.person).order_by(page.name, page.person).limit(most)
        if find:
            ids = ids.where(page.name.contains(find) | page.person.contains(find))
        if after is not None:
            later = (page.name > after[0]) | ((page.name == after[0]) & (page.person > after[1]))
            ids = ids.where((page.name >= after[0]) & later)
        # The page is found along one index; only its accounts are read.
        query = _people().where(Person.id.in_(ids)).order_by(NAME, Person.id)
        return [_read(row) for row in self._rows(query)]

    def running(self, people: Sequence[str]) -> list[AuthorisationRow]:
        """Authorisations of these people that were not withdrawn, oldest first."""
        mine = Authorisation.person.in_(list(people)) & Authorisation.withdrawn_at_utc.is_null()
        return self._rows(Authorisation.select().where(mine).order_by(Authorisation.number))

    def disabled_among(self, people: Sequence[str]) -> dict[str, str]:
        """When those of these people who are out of use were taken out of it, by id."""
        rows = self._among(DISABLED_AMONG, (json.dumps(list(people)),)) if people else []
        return {str(person): str(at_utc) for person, at_utc in rows}

    def add(self, person_id: str, name: str, roles: Sequence[str], salt: str) -> None:
        """A new account without secrets, its name with a salt (64 hex digits) that goes with it.
        Raises Conflict if there is one of that id.
        """
        fields = {"id": person_id, "name": "", "roles": json.dumps(list(roles)), "active": True}
        self._run(Person.insert({**fields, "must_change": True, "must_change_pin": True}))
        self.call(person_id, name, salt)

    def call(self, person_id: str, name: str, salt: str) -> None:
        """Give a person a name, in place of the one before."""
        if not self._run(PersonName.update(name=name, salt=salt).where(PersonName.person == person_id)):
            self._run(PersonName.insert(person=person_id, name=name, salt=salt))

    def erase_name(self, person_id: str) -> None:
        """Take a person's name and its salt out; the id stands in its place."""
        erased = PersonName.update(name=person_id, salt=ERASED)
        self._run(erased.where(PersonName.person == person_id))

    def change(self, person_id: str, **fields: Any) -> None:
        """Set columns of one account, all but the name."""
        if "roles" in fields:
            fields["roles"] = json.dumps(list(fields["roles"]))
        self._run(Person.update(fields).where(Person.id == person_id))

    def authorisations(
        self, *, person: str | None = None, machine: str | None = None
    ) -> list[AuthorisationRow]:
        """Every authorisation, withdrawn and expired ones too, oldest first."""
        query = Authorisation.select().order_by(Authorisation.number)
        if person is not None:
            query = query.where(Authorisation.person == person)
        if machine is not None:
            query = query.where(Authorisation.machine == machine)
        return self._rows(query)

    def next_to_end(self, machine: str, now_utc: str) -> AuthorisationRow | None:
        """The authorisation for a machine that ends next after this time, or None."""
        query = Authorisation.select().where(
            (Authorisation.machine == machine)
            & Authorisation.withdrawn_at_utc.is_null()
            & (Authorisation.until_utc > now_utc)
        )
        return self._row(query.order_by(Authorisation.until_utc, Authorisation.number).limit(1))

    def authorise(
        self, person: str, machine: str, from_utc: str, until_utc: str | None, **noted: str | None
    ) -> None:
        """Let a person run a machine from one time to another (None: until withdrawn).
        `noted`: level, given_by, training.
        """
        fields = {"person": person, "machine": machine, "from_utc": from_utc, "until_utc": until_utc}
        self._run(Authorisation.insert({**fields, **noted}))

    def withdraw(self, number: int, at_utc: str) -> None:
        """End an authorisation; the row stays."""
        self._run(Authorisation.update(withdrawn_at_utc=at_utc).where(Authorisation.number == number))

    def is_authorised(self, person: str, machine: str, at_utc: str) -> bool:
        """Whether an authorisation covered this time (its end not included) and was not withdrawn by then."""
        return any(
            row["from_utc"] <= at_utc
            and (row["until_utc"] is None or at_utc < row["until_utc"])
            and (row["withdrawn_at_utc"] is None or at_utc < row["withdrawn_at_utc"])
            for row in self.authorisations(person=person, machine=machine)
        )


def _people() -> Any:
    """Accounts with their names, by the query's own order."""
    query = Person.select(*ACCOUNT, NAME.alias("name"), PersonName.salt)
    return query.join(PersonName, on=PersonName.person == Person.id)


def _read(row: Any) -> PersonRow:
    salt = None if row["salt"] == ERASED else row["salt"]
    return cast("PersonRow", {**row, "roles": json.loads(row["roles"]), "salt": salt})
