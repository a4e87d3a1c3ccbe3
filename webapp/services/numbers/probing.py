"""Probes and their checks on a ring or sphere.

Rules: a lead keeps a check with all that was typed, on the ledger; nothing of a check is ever changed.
How often a probe is checked, and how much wider it counts while it is overdue, is the lead's, with a reason.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from webapp.domain.probe.probe_health import CheckState, CheckTyped, work_out
from webapp.domain.probe.ring_check import RingCheck
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import Machine, Probe
from webapp.services.errors import CareRefused, NoSuchMachine, NoSuchProbe
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.sheets import known_of_axis
from webapp.services.times import utc_text
from webapp.services.typed_reasons import note_text, reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import NewProbeCheck, ProbeCheckRow

MOST_DAYS = 3_650
LEAST_FACTOR, MOST_FACTOR = 100, 10_000


@dataclass(frozen=True)
class ProbeHealth:
    """A probe, the machines it belongs to, its checks (newest first),
    how often it is checked, whether it is due.
    """

    probe: Probe
    machines: tuple[Machine, ...]
    checks: tuple[ProbeCheckRow, ...]
    every_days: int | None
    factor: float
    state: CheckState | None


def probes(store: Store, now: datetime) -> list[ProbeHealth]:
    """Every probe in use."""
    with store.reading():
        return [_health(store, probe_id, now) for probe_id in store.shop.items("probe")]


def health(store: Store, probe_id: str, now: datetime) -> ProbeHealth:
    """One probe. Raises NoSuchProbe."""
    with store.reading():
        return _health(store, probe_id, now)


def _health(store: Store, probe_id: str, now: datetime) -> ProbeHealth:
    probe = _probe(store, probe_id)
    machines = [from_plain(Machine, value) for value in store.shop.items("machine").values()]
    care = store.numbers.care(probe_id)
    return ProbeHealth(
        probe,
        tuple(machine for machine in machines if machine.probe == probe_id),
        tuple(store.numbers.checks(probe_id)),
        care["every_days"] if care else None,
        care["factor_hundredths"] / known_of_axis.HUNDREDTHS if care else 1.0,
        known_of_axis.check_state(store, probe_id, now),
    )


def keep_check(
    store: Store, probe_id: str, machine_id: str, typed: CheckTyped, note: str, by: str, now: datetime
) -> RingCheck:
    """Work a check out and keep it.

    Raises RoleMissing, ReasonMissing, NoSuchProbe, NoSuchMachine and what `probe_health.work_out` raises.
    """
    note = note_text(note)
    with store.writing():
        must_be_lead(store, by)
        found = work_out(typed, _machine(store, machine_id), _probe(store, probe_id).u_probe_nm)
        whole = _whole(found)
        plain = {**asdict(typed), "diametral": dict(typed.diametral)}
        row: NewProbeCheck = {
            "probe": probe_id,
            "machine": machine_id,
            "at_utc": utc_text(now),
            "by": by,
            "note": note,
            "typed": plain,
            "found": whole,
        }
        store.numbers.add_check(row)
        data = {"machine": machine_id, "typed": plain, "found": whole, "note": note}
        change(store, "probe.checked", by, probe_id, None, data, now)
    return found


def try_check(store: Store, probe_id: str, machine_id: str, typed: CheckTyped) -> RingCheck:
    """What a check comes to, without keeping it. Raises as keep_check does."""
    with store.reading():
        probe, machine = _probe(store, probe_id), _machine(store, machine_id)
    return work_out(typed, machine, probe.u_probe_nm)


def set_care(
    store: Store, probe_id: str, every_days: int, factor_hundredths: int, reason: str, by: str, now: datetime
) -> None:
    """Say how often a probe is checked, and how many hundredths as wide it counts while it is overdue.

    Raises RoleMissing, ReasonMissing, NoSuchProbe, CareRefused.
    """
    reason = reason_text(reason)
    days_fit = 1 <= every_days <= MOST_DAYS
    if not days_fit or not LEAST_FACTOR <= factor_hundredths <= MOST_FACTOR:
        raise CareRefused(most_days=MOST_DAYS, most_factor=MOST_FACTOR // known_of_axis.HUNDREDTHS)
    with store.writing():
        must_be_lead(store, by)
        _probe(store, probe_id)
        store.numbers.put_care(probe_id, every_days, factor_hundredths)
        data = {"every_days": every_days, "factor_hundredths": factor_hundredths, "reason": reason}
        change(store, "probe.care_set", by, probe_id, None, data, now)


def _whole(found: RingCheck) -> dict[str, object]:
    """What was found, in whole nanometres: the ledger carries no broken numbers."""

    def rounded(value: Any) -> Any:
        if isinstance(value, tuple | list):
            return [rounded(one) for one in value]
        return round(value) if isinstance(value, float) else value

    return {name: rounded(value) for name, value in asdict(found).items()}


def _probe(store: Store, probe_id: str) -> Probe:
    value = store.shop.item("probe", probe_id)
    if value is None:
        raise NoSuchProbe(probe=probe_id[:40])
    return from_plain(Probe, value)


def _machine(store: Store, machine_id: str) -> Machine:
    value = store.shop.item("machine", machine_id)
    if value is None:
        raise NoSuchMachine(machine=machine_id[:40])
    return from_plain(Machine, value)
