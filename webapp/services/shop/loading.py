"""A shop from its file: only what differs from what is stored is changed, each difference on the ledger.

Rules:
- the whole file is applied in one transaction, or nothing of it;
- what the file leaves out is taken out of use and stays stored: a slot that it does not name is set free,
  and every slot keeps what was seen in it. What was out of use before it says nothing of;
- a file after which a machine's sheet would not hold what a record proves is refused, with every reason, and
  so is one that calls two machines, or two fixtures of one, the same;
- loading the same file again changes nothing and appends nothing;
- whoever is new gets first secrets made by chance, handed back once and never stored as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from typing import TYPE_CHECKING, Any, NotRequired, TypedDict

from webapp.domain.evidence.told import AT_DESK, PROCEDURE
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.procedure.procedure import Procedure, publish
from webapp.domain.shop.faults_between import new_owner_faults, seatings_to_come
from webapp.domain.shop.fields import as_plain, from_plain
from webapp.domain.shop.fitted_machine import fixtures_of
from webapp.domain.shop.shop import Fixture, Machine, Person, Probe, ShopRules
from webapp.domain.shop.shop_file import ShopFileError
from webapp.domain.shop.told_shop import Authorisation, SeatingStart, Shop, SlotAssignment
from webapp.services.evidence.ledger import change, on_ledger
from webapp.services.people import names
from webapp.services.people.access import give_first_secrets
from webapp.services.people.accounts import close_account
from webapp.services.people.secret_rules import check_passphrase, check_pin, hash_passphrase, hash_pin
from webapp.services.sheets.holding_here import ShortAt, short_now, short_since
from webapp.services.shop import bolted, told_apart
from webapp.services.shop.loaded_rights import differences
from webapp.services.shop.told_apart import OneName
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.store import Store
    from webapp.store.rows import PersonRow

LEFT_OUT = "not in the shop file"
OUT_OF_USE = "out of use in the shop file"

# "passphrase" or "pin" -> a value made by chance that the rules of secrets take.
MakeSecret = Callable[[str], str]


class Change(TypedDict):
    """A difference that was applied; for a new person with first secrets, which are shown once."""

    type: str
    subject: str
    data: Mapping[str, object]
    secrets: NotRequired[dict[str, str]]


def load(
    store: Store,
    shop: Shop,
    by: str,
    now: datetime,
    make_secret: MakeSecret,
    keyring: KeyRing,
    *,
    dry_run: bool = False,
) -> list[Change]:
    """Apply the differences; what was changed, in order: {"type","subject","data"}, and for a new person also
    "secrets": {"passphrase","pin"}, which are shown once.

    With `dry_run` the same is worked out and nothing stays. `by` is a person's id,
    or ledger.SERVER at the first start. Raises a DomainError of the shop's values, and ShopFileError for a
    seating that is still to come or another fixture's, a slot for somebody who can have none, two things of
    one name where people choose by it, or a machine at which its procedure would not hold, and stores nothing
    then.
    """
    if faults := [
        *seatings_to_come(shop, utc_text(now)),
        *_seatings_of_others(store, shop),
        *_owner_faults(store, shop),
    ]:
        raise ShopFileError(faults)
    secrets = _first_secrets(store, shop, make_secret, keyring, once=dry_run)
    changes: list[Change] = []
    with suppress(_OnlyLooked), store.writing():
        short, loader = short_now(store, store.shop.items("machine")), _Loader(store, by, now)
        fixtures = {machine: fixtures_of(value) for machine, value in store.shop.items("machine").items()}
        called_so = told_apart.called_the_same(store)
        loader.items("shop", {"shop": as_plain(shop.rules)})
        loader.items("fixture", {one.id: as_plain(one) for one in shop.fixtures})
        loader.items("probe", {one.id: as_plain(one) for one in shop.probes})
        loader.items("machine", {one.id: as_plain(one) for one in shop.machines})
        _must_be_told_apart(store, called_so)
        loader.procedure(shop.procedure)
        _must_hold(store, short)
        loader.seatings(shop.seatings)
        _must_be_bolted(store, shop.machines, fixtures)
        loader.people(shop.people, secrets)
        loader.authorisations(shop.authorisations, {*fixtures, *(one.id for one in shop.machines)})
        loader.slots(shop.slots)
        changes = loader.changes
        if dry_run:
            raise _OnlyLooked
        if changes:
            change(store, "shop.loaded", by, "shop", None, {"changes": len(changes)}, now)
    return changes


def _seatings_of_others(store: Store, shop: Shop) -> list[Finding]:
    """A fault for each seating of the file that is one of another fixture here, in use or not."""
    with store.reading():
        fixtures = [*store.shop.items("fixture"), *store.shop.items_out_of_use("fixture")]
        known = {row["id"]: fixture for fixture in fixtures for row in store.shop.seatings(fixture)}
    return [
        Finding(
            "shop_file.seating_of_other",
            {"place": f"fixture “{one.fixture}”, seating", "id": one.id, "other": known[one.id]},
        )
        for one in shop.seatings
        if known.get(one.id, one.fixture) != one.fixture
    ]


def _owner_faults(store: Store, shop: Shop) -> list[Finding]:
    with store.reading():
        machines = store.shop.items("machine")
        rows = [row for machine in machines for row in store.shop.slots(machine)]
    owners = {(row["machine"], row["label"]): row["owner"] for row in rows}
    return new_owner_faults(shop, owners, machines)


def _must_hold(store: Store, before: Sequence[ShortAt]) -> None:
    faults = [
        Finding(fault.code, {**fault.fields, "place": f"machine “{one.place.machine}”"})
        for one in short_since(short_now(store, store.shop.items("machine")), before)
        for fault in one.faults
    ]
    if faults:
        raise ShopFileError(faults)


def _must_be_bolted(store: Store, machines: Sequence[Machine], before: Mapping[str, Sequence[str]]) -> None:
    found = [
        Finding(fault.code, {**fault.fields, "place": f"machine “{machine.id}”"})
        for machine in machines
        for fault in bolted.faults(store, machine, before.get(machine.id, ()))
    ]
    if found:
        raise ShopFileError(found)


def _must_be_told_apart(store: Store, before: Collection[OneName]) -> None:
    found = [
        Finding(fault.code, {**fault.fields, "place": "machine"})
        for fault in told_apart.faults(store, before)
    ]
    if found:
        raise ShopFileError(found)


class _OnlyLooked(Exception):
    """Ends the transaction of a dry run, so that nothing of it stays."""


Secrets = Mapping[str, tuple[dict[str, str], tuple[str, str]]]


def _first_secrets(
    store: Store, shop: Shop, make_secret: MakeSecret, keyring: KeyRing, *, once: bool
) -> Secrets:
    """Values and hashes for everybody who is new:
    made before the transaction, because hashing is slow on purpose. `once`: nothing of it stays, so the
    hashes of the first stand for all.
    """
    with store.reading():
        known = {person["id"] for person in store.people.everybody()}
    found: dict[str, tuple[dict[str, str], tuple[str, str]]] = {}
    hashes = None
    for person in shop.people:
        if person.id not in known:
            values = {kind: make_secret(kind) for kind in ("passphrase", "pin")}
            passphrase, pin = check_passphrase(values["passphrase"]), check_pin(values["pin"])
            if hashes is None or not once:
                hashes = hash_passphrase(passphrase), hash_pin(keyring.pepper, person.id, pin)
            found[person.id] = values, hashes
    return found


class _Loader:
    """Differences, one subject after the other, inside one transaction."""

    def __init__(self, store: Store, by: str, now: datetime) -> None:
        self._store, self._by, self._now = store, by, now
        self.changes: list[Change] = []

    def items(self, kind: str, wanted: Mapping[str, dict[str, object]]) -> None:
        """Machines, fixtures, probes, the shop's rules."""
        before = self._store.shop.items(kind)
        for item_id, value in wanted.items():
            value = as_stored(value)  # noqa: PLW2901
            if item_id not in before or _as_now(kind, before[item_id]) != value:
                self._store.shop.put(kind, item_id, value)
                self._note(
                    f"{kind}.{'changed' if item_id in before else 'added'}",
                    item_id,
                    {"value": on_ledger(value)},
                )
        # A colon stands in what the desk alone keeps there: a shop file has no words for it.
        for item_id in {one for one in before if ":" not in one} - wanted.keys():
            self._store.shop.retire(kind, item_id)
            self._note(f"{kind}.retired", item_id, {})

    def procedure(self, wanted: Procedure) -> None:
        """The procedure: published first, which asks whether it may be. What was published at the desk
        stays: a shop file has no words for it.
        """
        revision = publish(wanted)
        before = self._store.shop.item("procedure", PROCEDURE)
        if before is not None and before.get("from") == AT_DESK:
            return
        if before is None or before["hash"] != revision.hash:
            value = {"hash": revision.hash, "text": revision.text}
            self._store.shop.put("procedure", revision.hash, value)
            self._store.shop.put("procedure", PROCEDURE, value)
            self._note("procedure.published", wanted.id, {"revision": revision.hash})

    def seatings(self, wanted: Sequence[SeatingStart]) -> None:
        """Seatings that are not known yet, oldest first; each ends the one before.
        Known ones stay as they are.
        """
        for start in wanted:
            if all(known["id"] != start.id for known in self._store.shop.seatings(start.fixture)):
                self._store.shop.start_seating(start.id, start.fixture, start.since_utc, start.reason)
                data = {"seating": start.id, "reason": start.reason, "since_utc": start.since_utc}
                self._note("seating.started", start.fixture, data)

    def people(self, wanted: Sequence[Person], secrets: Secrets) -> None:
        """Accounts: new ones with first secrets, changed ones, and those left out are closed."""
        before = {person["id"]: person for person in self._store.people.everybody()}
        for person in wanted:
            if person.id not in before:
                self._add(person, secrets)
                continue
            self._change(before[person.id], person)
        kept = {person.id for person in wanted}
        for person_id, row in before.items():
            if row["active"] and person_id not in kept:
                self._close(person_id, LEFT_OUT)

    def authorisations(self, wanted: Sequence[Authorisation], machines: Collection[str]) -> None:
        """Authorisations that are not there yet, and those that are no longer wanted, for these machines: a
        file has no words for one that was out of use before, whose rights stay as its slots do.
        """
        rows = [row for row in self._store.people.authorisations() if row["machine"] in machines]
        ended, given = differences(rows, wanted)
        for row in ended:
            self._store.people.withdraw(row["number"], utc_text(self._now))
            data = {"machine": row["machine"], "reason": LEFT_OUT}
            self._note("person.authorisation_withdrawn", row["person"], data)
        for one in given:
            noted = {"level": one.how.level, "training": one.how.training or None, "given_by": self._by}
            at = utc_text(self._now)
            self._store.people.authorise(one.person, one.machine, at, one.until_utc, **noted)
            until = {"machine": one.machine, "until_utc": one.until_utc}
            self._note(
                "person.authorised",
                one.person,
                until | {"level": one.how.level, "training": one.how.training},
            )

    def slots(self, wanted: Sequence[SlotAssignment]) -> None:
        """The registers of all machines. What the file leaves out is set free and keeps its last values."""
        asked = {(one.machine, one.label): (one.kind, one.owner, one.until_utc) for one in wanted}
        machines = {*self._store.shop.items("machine"), *(machine for machine, _ in asked)}
        before = {
            (machine, row["label"]): (row["kind"], row["owner"], row["until_utc"])
            for machine in machines
            for row in self._store.shop.slots(machine)
        }
        for machine, label in sorted(before.keys() - asked.keys()):
            self._set_free(machine, label, *before[machine, label][:2])
        for (machine, label), row in asked.items():
            if before.get((machine, label)) != row:
                self._store.shop.put_slot(machine, label, *row)
                data = {"slot": label, "kind": row[0], "person": row[1], "until_utc": row[2]}
                self._note("slot.changed", machine, data)

    def _change(self, known: PersonRow, person: Person) -> None:
        data = {"name": person.name, "roles": list(person.roles)}
        called_so = (known["name"], known["roles"]) == (data["name"], data["roles"])
        if called_so and (known["active"] == person.in_use or not person.in_use):
            if known["active"] != person.in_use:
                self._close(person.id, OUT_OF_USE)
            return
        called = names.call(self._store, known, person.name)
        roles = data["roles"]
        self._store.people.change(person.id, roles=roles, active=True, disabled_at_utc=None)
        said = {**called, "roles": roles, "before": known["roles"], "active_before": known["active"]}
        self._note("person.changed", person.id, data, said)
        if not person.in_use:
            self._close(person.id, OUT_OF_USE)

    def _close(self, person_id: str, reason: str) -> None:
        close_account(self._store, person_id, reason, self._by, self._now)
        self.changes.append({"type": "person.disabled", "subject": person_id, "data": {}})

    def _set_free(self, machine: str, label: str, kind: str, owner: str | None) -> None:
        if kind == "free":
            return
        self._store.shop.put_slot(machine, label, "free", None, None)
        data = {"slot": label, "reason": LEFT_OUT}
        if kind == "shop":
            self._note("slot.no_longer_kept", machine, data)
        else:
            self._note("slot.released", machine, {**data, "person": owner})

    def _add(self, person: Person, secrets: Secrets) -> None:
        data = {"name": person.name, "roles": list(person.roles)}
        added = names.add(self._store, person.id, person.name, person.roles)
        self._note("person.added", person.id, data, added)
        values, hashes = secrets[person.id]
        give_first_secrets(self._store, person.id, hashes, self._by, self._now)
        self.changes[-1]["secrets"] = values
        if not person.in_use:
            self._close(person.id, OUT_OF_USE)

    def _note(
        self, kind: str, subject: str, data: Mapping[str, object], said: Mapping[str, object] | None = None
    ) -> None:
        """Put a change onto the ledger, as `said` where that is to say less than what is shown."""
        change(self._store, kind, self._by, subject, None, data if said is None else said, self._now)
        self.changes.append({"type": kind, "subject": subject, "data": data})


ITEMS = {"shop": ShopRules, "fixture": Fixture, "probe": Probe, "machine": Machine}


def _as_now(kind: str, stored: dict[str, object]) -> dict[str, object]:
    """A stored value with what this version has added to its kind,
    so that a new field alone is no difference.
    """
    try:
        found: dict[str, object] = as_stored(as_plain(from_plain(ITEMS[kind], stored)))
    except DomainError:
        return stored
    return found


def as_stored(value: Any) -> Any:
    """The value as it comes back from JSON, to be compared: tuples are lists there."""
    if isinstance(value, Mapping):
        return {str(name): as_stored(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [as_stored(item) for item in value]
    return value
