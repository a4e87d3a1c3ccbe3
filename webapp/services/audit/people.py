"""People, worked out again from the ledger and compared: names, roles, accounts, secrets, what they may run.

Rules: every change of an account is an entry of the ledger; what they come to is what the rows have to say. A
name is compared with its salted hash, a stored secret with its keyed digest (services/people/names.py,
secret_digests.py). Entries from before those say a name in clear, or nothing of a secret: what nothing is
said of is listed as not covered, and so is a name that was erased.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from webapp.services.evidence.ledger import entries, said_by
from webapp.services.evidence.ledger_walk import Fault
from webapp.services.people.access import FIRST_SECRETS_DAYS
from webapp.services.people.names import NAME_ERASED, name_hash
from webapp.services.people.secret_digests import digests_of
from webapp.services.times import from_text, later

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import AuthorisationRow, ChangeRow, PersonRow

ABOUT_ACCOUNTS = (
    "person.added", "person.changed", "person.disabled", "person.enabled", NAME_ERASED, "secret.changed",
)  # fmt: skip
AUTHORISED, WITHDRAWN = "person.authorised", "person.authorisation_withdrawn"
EARLY_RIGHT = "who gave it: from before rows said it, until it is given anew"
Right = tuple[Any, ...]


@dataclass(slots=True)
class Account:
    """What the entries about one person come to. `rows` are columns of the row that they give; of `name` the
    text where an early entry says it, else `name_sha256`; neither where it was erased.
    """

    rows: dict[str, object] = field(default_factory=dict)
    digests: Mapping[str, object] | None = None
    name: str | None = None
    name_sha256: str | None = None
    erased_at_utc: str | None = None

    def take(self, entry: ChangeRow) -> None:
        """Go on by one entry."""
        data = said_by(entry["text"])
        match entry["type"]:
            case "person.added":
                self.rows |= {"active": True, "disabled_at_utc": None}
                self._called(data)
                if self.name_sha256:
                    self.digests = {"passphrase": None, "pin": None}
                    self.rows |= {"must_change": True, "must_change_pin": True}
                    self.rows["first_secrets_until_utc"] = None
            case "person.changed":
                self._called(data)
            case "person.disabled":
                self.rows |= {"active": False, "disabled_at_utc": entry["at_utc"]}
            case "person.enabled":
                self.rows |= {"active": True, "disabled_at_utc": None}
            case "secret.changed":
                self._secret(data, entry["at_utc"])
            case _:
                self.name = self.name_sha256 = None
                self.erased_at_utc = entry["at_utc"]

    def _called(self, data: Any) -> None:
        self.rows["roles"] = data.get("roles")
        if "name_sha256" in data or "name" in data:
            # A load from the shop's file takes an account back into use.
            self.rows |= {"active": True, "disabled_at_utc": None}
            self.name, self.name_sha256 = data.get("name"), data.get("name_sha256")

    def _secret(self, data: Any, at_utc: str) -> None:
        if "digests" not in data:
            self.digests = None
            for column in ("must_change", "must_change_pin", "first_secrets_until_utc"):
                self.rows.pop(column, None)
            return
        self.digests, first = data["digests"], data.get("first")
        if data.get("secret") != "pin":
            until = later(from_text(at_utc), days=FIRST_SECRETS_DAYS) if first else None
            self.rows |= {"must_change": first, "first_secrets_until_utc": until}
        if data.get("secret") != "passphrase":
            self.rows["must_change_pin"] = first

    def fits(self, row: PersonRow) -> bool:
        """Whether a row says what the entries come to."""
        same = all(row[name] == value for name, value in self.rows.items())  # type: ignore[literal-required]
        secrets = self.digests is None or self.digests == digests_of(row)
        return same and secrets and self._fits_name(row)

    def _fits_name(self, row: PersonRow) -> bool:
        if row["salt"] is None:
            return self.erased_at_utc is not None
        if self.name_sha256 is None:
            return self.name == row["name"]
        return name_hash(row["name"], row["salt"]) == self.name_sha256


def misfits(store: Store) -> Iterator[Fault]:
    """Accounts and rights that are not what the ledger says, each read in a short transaction."""
    with store.reading():
        accounts = accounts_said(store)
        rows = {row["id"]: row for row in store.people.everybody()}
        named = {*store.people.named_in_account()}
    for person in sorted(accounts.keys() | rows.keys()):
        account, row = accounts.get(person), rows.get(person)
        if account is None or row is None or not account.fits(row) or person in named:
            yield Fault("audit.not_as_said", f"person {person}")
    with store.reading():
        rights = list(_rights(store))
    yield from rights


def not_covered(store: Store) -> dict[str, str]:
    """What nothing can be said of any more, or yet, by row. Inside a transaction."""
    found = {}
    for person, account in sorted(accounts_said(store).items()):
        if account.erased_at_utc:
            found[f"person_name {person}"] = f"erased {account.erased_at_utc}: who it was cannot be proved"
        elif account.digests is None:
            found[f"person {person}"] = (
                "secrets from before the ledger had digests of them: by the note of the row alone, "
                "until they are changed"
            )
    rights = (row for row in store.people.authorisations() if _early_right(row))
    return found | {f"authorisation {row['number']}": EARLY_RIGHT for row in rights}


def accounts_said(store: Store) -> dict[str, Account]:
    """What the ledger says of everybody, by id. Inside a transaction."""
    accounts: dict[str, Account] = {}
    for entry in entries(store, ABOUT_ACCOUNTS):
        accounts.setdefault(entry["subject"], Account()).take(entry)
    return accounts


def _rights(store: Store) -> Iterator[Fault]:
    """Each right was given by an entry, and ended by one: that it was withdrawn, or given anew."""
    given, ends = _rights_said(store)
    for row in store.people.authorisations():
        level = row["level"], row["training"]
        right = (row["person"], row["from_utc"], row["machine"], row["until_utc"], *level)
        said = given.get(right, [])
        found = next((by for by in said if row["given_by"] == by or _early_right(row)), None)
        if found is not None:
            said.remove(found)
        if found is None or not _ended_as_said(row, ends):
            yield Fault("audit.not_as_said", f"authorisation {row['number']}")
    yield from (
        Fault("audit.not_as_said", f"authorisation of {right[0]} for {right[2]}, which is gone")
        for right, left in given.items()
        if left
    )


def _rights_said(store: Store) -> tuple[dict[Right, list[str]], Counter[Right]]:
    """Rights by what they are, each with those who gave one, and how many of them each moment ended."""
    given: dict[Right, list[str]] = {}
    ends: Counter[Right] = Counter()
    for entry in entries(store, (AUTHORISED, WITHDRAWN)):
        data, about = said_by(entry["text"]), (entry["subject"], entry["at_utc"])
        ends[*about, data.get("machine")] += 1
        if entry["type"] == AUTHORISED:
            level = data.get("level"), data.get("training") or None
            right = (*about, data.get("machine"), data.get("until_utc"), *level)
            given.setdefault(right, []).append(entry["by"])
    return given, ends


def _early_right(row: AuthorisationRow) -> bool:
    """Whether a right is from before rows said who gave one: before levels, that is."""
    return row["given_by"] is None and row["level"] is None


def _ended_as_said(row: AuthorisationRow, ends: Mapping[tuple[Any, ...], int]) -> bool:
    at_utc = row["withdrawn_at_utc"]
    own = at_utc == row["from_utc"]  # the entry that gave it ends others, not this one
    return at_utc is None or ends.get((row["person"], at_utc, row["machine"]), 0) > own
