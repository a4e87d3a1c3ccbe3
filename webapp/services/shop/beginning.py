"""The first start of a shop in the browser: its name and its first lead, and what is still missing after.

Rules:
- open only while nobody has an account: the first one in is the lead, the next one is told so;
- wrong codes are counted by where they come from, so that nobody shuts out who stands at the server;
- one transaction, on the ledger as every other change: the shop's rules, the shipped procedure, the lead;
- the lead chooses passphrase and PIN then and there, and is an operator too, so that a first setup can be
  begun by one person;
- what is missing is worked out from what there is: a set-up that was broken off goes on where it stopped.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.evidence.events import SHORT_ID
from webapp.domain.evidence.told import PROCEDURE
from webapp.domain.plain.field_types import LONGEST_NAME
from webapp.domain.plain.taken_words import NOBODYS
from webapp.domain.procedure.procedure import publish
from webapp.domain.procedure.shipped import SHIPPED
from webapp.domain.shop.fields import as_plain
from webapp.domain.shop.shop import ShopRules
from webapp.services.errors import NameRefused, SetUpCodeRefused, SetUpIsOver
from webapp.services.evidence.ledger import change, on_ledger
from webapp.services.people import names, throttle
from webapp.services.people.access import keep_own_secrets
from webapp.services.people.errors import TooManyTries
from webapp.services.people.secret_rules import check_passphrase, check_pin, hash_passphrase, hash_pin

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.store import Store

ROLES = ["operator", "lead"]
CODE_TRIES = throttle.Limit(
    free=8, first_wait_seconds=30, longest_wait_seconds=900, forget_seconds=3600, of_person=False
)
LONGEST_SOURCE = 64


@dataclass(frozen=True)
class FirstLead:
    """Who the first lead is, with the secrets that they chose."""

    id: str
    name: str
    passphrase: str
    pin: str


def is_open(store: Store) -> bool:
    """Whether nobody has an account yet."""
    with store.reading():
        return not store.people.listed(most=1)


def begin_shop(
    store: Store,
    keyring: KeyRing,
    rules: ShopRules,
    lead: FirstLead,
    code_fits: Callable[[], bool],
    now: datetime,
    source: str,
) -> None:
    """Make the shop and its first lead. `source`: where the try of the code comes from, such as an address.

    Raises SetUpIsOver, TooManyTries, SetUpCodeRefused, NameRefused, and what the checks of secrets raise;
    nothing is stored then, the try of the code aside.
    """
    name = " ".join(lead.name.split())
    is_id = SHORT_ID.passes(lead.id) and lead.id not in NOBODYS
    if not is_id or not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
        raise NameRefused(longest=LONGEST_NAME)
    passphrase = check_passphrase(lead.passphrase, [lead.id, name, rules.name])
    pin = check_pin(lead.pin)
    tries = ((f"set-up:code:from:{source[:LONGEST_SOURCE]}", CODE_TRIES),)
    _check_code(store, tries, code_fits, now)
    hashes = hash_passphrase(passphrase), hash_pin(keyring.pepper, lead.id, pin)
    with store.writing():
        if store.people.listed(most=1):
            raise SetUpIsOver
        value = as_plain(rules)
        store.shop.put("shop", "shop", value)
        change(store, "shop.added", lead.id, "shop", None, {"value": on_ledger(value)}, now)
        _publish(store, lead.id, now)
        added = names.add(store, lead.id, name, ROLES)
        change(store, "person.added", lead.id, lead.id, None, added, now)
        keep_own_secrets(store, lead.id, hashes, now)
        throttle.was_right(store, tries)


def _check_code(store: Store, tries: throttle.Subjects, code_fits: Callable[[], bool], now: datetime) -> None:
    with store.writing():
        if store.people.listed(most=1):
            raise SetUpIsOver
        wait = throttle.begin_try(store, tries, now)
    if wait is not None:
        raise TooManyTries(seconds=wait.seconds or 0)
    if not code_fits():
        raise SetUpCodeRefused


def _publish(store: Store, by: str, now: datetime) -> None:
    revision = publish(SHIPPED)
    value = {"hash": revision.hash, "text": revision.text}
    store.shop.put("procedure", revision.hash, value)
    store.shop.put("procedure", PROCEDURE, value)
    change(store, "procedure.published", by, SHIPPED.id, None, {"revision": revision.hash}, now)


@dataclass(frozen=True)
class Missing:
    """What a shop has of all that a first setup needs; `steps` in their order, each with whether it is done.

    `machine` is the first machine, for the step that gives a slot on it.
    """

    steps: tuple[tuple[str, bool], ...]
    machine: str | None

    @property
    def next(self) -> str | None:
        """The first step that is not done, None when a setup can begin."""
        return next((name for name, done in self.steps if not done), None)


def missing(store: Store) -> Missing:
    """What is there and what is missing before a first setup can begin."""
    with store.reading():
        machines = list(store.shop.items("machine"))
        found = (
            ("probe", bool(store.shop.items("probe"))),
            ("fixture", bool(store.shop.items("fixture"))),
            ("machine", bool(machines)),
            ("slot", bool(machines) and _somebody_can(store, machines)),
            ("tablet", any(row["state"] == "enrolled" for row in store.devices.everything())),
        )
    return Missing(found, machines[0] if machines else None)


def still_to_do(store: Store) -> str | None:
    """What comes next on the way to a first setup; None as soon as one was begun, whatever went since."""
    with store.reading():
        if store.setups.any_was_begun():
            return None
    return missing(store).next


def _somebody_can(store: Store, machines: list[str]) -> bool:
    """Whether somebody has both a right to a machine and a slot of it."""
    owners = {
        (row["owner"], machine) for machine in machines for row in store.shop.slots(machine) if row["owner"]
    }
    rights = store.people.running(sorted({owner for owner, _ in owners if owner}))
    return any((row["person"], row["machine"]) in owners for row in rights)
