"""What a machine's page reads on Z:
checked once by a touch on a known height, by a lead, with the passphrase again.

Rules:
- a check is kept for ever with all that was typed, and stands on the ledger;
- the last one of the machine counts, as long as probe, ball, stylus and what the shop's file states are those
  that it was made with: without it no sheet gives a Z coordinate;
- where the probe's length does not repeat from one load to the next, there is none either.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.measures import ZPoint, ZReading
from webapp.domain.shop.shop import Machine, Probe
from webapp.domain.shop.z_check import ZCheck, ZTyped, stated, work_out
from webapp.services.errors import NoSuchMachine, NoSuchProbe
from webapp.services.evidence.ledger import change
from webapp.services.people.access import DESK, check_secret, must_be_lead
from webapp.services.people.errors import SignInRefused
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import NewZCheck, ZCheckRow


@dataclass(frozen=True)
class MachineZ:
    """A machine, its probe, what its file states, the last check (its row) and the reading that holds, or
    None.
    """

    machine: Machine
    probe: Probe
    stated: ZReading | None
    last: ZCheckRow | None
    holds: ZReading | None


def z_of(store: Store, machine_id: str) -> MachineZ:
    """What is known of one machine's Z. Raises NoSuchMachine, NoSuchProbe."""
    with store.reading():
        machine, probe = _parts(store, machine_id)
        last = store.numbers.last_z_check(machine.id)
        return MachineZ(machine, probe, stated(machine), last, holding(store, machine, probe))


def holding(store: Store, machine: Machine, probe: Probe) -> ZReading | None:
    """The reading that was checked and still holds, inside the caller's transaction;
    None: no Z coordinate.
    """
    row = store.numbers.last_z_check(machine.id)
    if not machine.probe_length_repeats or row is None or row["made_with"] != _made_with(machine, probe):
        return None
    return ZReading(ZPoint(row["point"]), row["length_nm"])


def keep_check(
    store: Store,
    machine_id: str,
    typed: ZTyped,
    passphrase: str,
    by: str,
    now: datetime,
    source: str = DESK,
) -> ZCheck:
    """Work a check out and keep it.

    Raises SignInRefused, TooManyTries, StoppedAfterTries for the passphrase;
    RoleMissing, NoSuchMachine, NoSuchProbe and what `z_check.work_out` raises.
    """
    with store.reading():
        found = work_out(typed, *_parts(store, machine_id))
    if check_secret(store, by, passphrase, now, source) is None:
        raise SignInRefused
    with store.writing():
        must_be_lead(store, by)
        machine, probe = _parts(store, machine_id)
        found = work_out(typed, machine, probe)
        add_check(store, machine, probe, found, typed, by, now)
    return found


def add_check(
    store: Store, machine: Machine, probe: Probe, found: ZCheck, typed: ZTyped, by: str, now: datetime
) -> None:
    """Keep a check that was worked out, inside the caller's transaction."""
    reading = {"point": found.reading.point.value, "length_nm": found.reading.length_nm}
    row: NewZCheck = {
        "machine": machine.id,
        "point": found.reading.point.value,
        "length_nm": found.reading.length_nm,
        "made_with": _made_with(machine, probe),
        "typed": asdict(typed),
        "by": by,
        "at_utc": utc_text(now),
    }
    store.numbers.add_z_check(row)
    data = {
        **reading,
        "probe": probe.id,
        "made_with": row["made_with"],
        "typed": asdict(typed),
        "surface_nm": found.surface_nm,
        "page_nm": found.page_nm,
        "shown_above_nm": found.shown_above_nm,
    }
    change(store, "machine.z_checked", by, machine.id, None, data, now)


def _made_with(machine: Machine, probe: Probe) -> dict[str, object]:
    """What a check depends on: with another of these the point may lie elsewhere."""
    return {
        "probe": probe.id,
        "ball_diameter_nm": probe.ball_diameter_nm,
        "stylus_reach_nm": probe.stylus_reach_nm,
        "z_point": machine.z_point,
        "z_length_nm": machine.z_length_nm,
    }


def _parts(store: Store, machine_id: str) -> tuple[Machine, Probe]:
    value = store.shop.item("machine", machine_id)
    if value is None:
        raise NoSuchMachine(machine=machine_id[:40])
    machine = from_plain(Machine, value)
    probe = store.shop.item("probe", machine.probe)
    if probe is None:
        raise NoSuchProbe(probe=machine.probe)
    return machine, from_plain(Probe, probe)
