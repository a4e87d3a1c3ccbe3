"""At which fixture the numbers in a slot's row were touched, on a machine that has several."""

from __future__ import annotations

from typing import TYPE_CHECKING

from webapp.domain.shop.shop import Machine
from webapp.services.setups.stored_setups import WHOLE, sheet_of

if TYPE_CHECKING:
    from webapp.store import Store


def touched_at(store: Store, machine: Machine) -> dict[str, str]:
    """At which fixture all that a slot was last seen to hold was touched, by label: a number in the control's
    row does not say of which vise it is. The fixture is called as it is called now, for that is what people
    read on it. Nothing where the machine has one fixture only; inside the caller's transaction.
    """
    if not machine.more_fixtures:
        return {}
    last = {row["label"]: row["last_setup"] for row in store.shop.slots(machine.id) if row["last_setup"]}
    setups = store.setups.setups_by_id(set(last.values()))
    called = {key: str(value["name"]) for key, value in store.shop.items("fixture").items()}
    then = {
        label: sheet_of(store, setups[id_]["sheet"])["fixture"]
        for label, id_ in last.items()
        if setups[id_]["outcome"] == WHOLE
    }
    return {label: called.get(fixture["id"], fixture["name"]) for label, fixture in then.items()}
