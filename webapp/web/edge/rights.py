"""Who may call what: one table of every endpoint, enforced in one place, closed by default.

Rules: OWASP ASVS 5.0, 8.2.1 to 8.3.2: rights are decided on the server, per function; what the table does not
name is refused to everyone, and an application with an endpoint outside the table does not start. Whose setup
a person may open is decided by `may_open`, per object.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

PUBLIC = "public"
DEVICE = "device"
SIGNED_IN = "signed_in"
LEAD = "lead"
AUDITOR = "auditor"

EVERYONE = frozenset({PUBLIC})
TABLETS = frozenset({DEVICE})
PEOPLE = frozenset({SIGNED_IN})
LEADS = frozenset({LEAD})
READERS = frozenset({LEAD, AUDITOR})

RIGHTS: Mapping[str, frozenset[str]] = {
    "offline.worker": EVERYONE,
    "offline.manifest": EVERYONE,
    "offline.font": EVERYONE,
    "offline.asset": EVERYONE,
    "offline.icon": EVERYONE,
    "offline.favicon": EVERYONE,
    "tablet.page": EVERYONE,
    "tablet.self_test": EVERYONE,
    "api.reach": TABLETS,
    "api.enrol": TABLETS,
    "api.events": TABLETS,
    "api.news": TABLETS,
    "api.keys": TABLETS,
    "api.sheet": TABLETS,
    "api.head": TABLETS,
    "api.photo": TABLETS,
    "api.step_picture": TABLETS,
    "board.machines": EVERYONE,
    "board.wall": EVERYONE,
    "closing.machine": LEADS,
    "watched.health": EVERYONE,
    "watched.metrics": EVERYONE,
    "access.sign_in": EVERYONE,
    "access.sign_out": EVERYONE,
    "set_up.begin": EVERYONE,
    "set_up.guide": LEADS,
    "set_up.own_slot": LEADS,
    "items.page": READERS,
    "items.file": READERS,
    "items.new": LEADS,
    "items.change": LEADS,
    "items.rules": LEADS,
    "items.drawing": LEADS,
    "out_of_use.thing": LEADS,
    "access.me": PEOPLE,
    "access.choose_own": PEOPLE,
    "access.change_passphrase": PEOPLE,
    "access.change_pin": PEOPLE,
    "desk.queue": LEADS,
    "desk.setups": PEOPLE,
    "desk.setups_csv": PEOPLE,
    "desk.setups_json": PEOPLE,
    "desk.setup": PEOPLE,
    "desk.unsigned": PEOPLE,
    "desk.photo": PEOPLE,
    "desk.record": PEOPLE,
    "deciding.sign_off": LEADS,
    "deciding.not_accept": LEADS,
    "deciding.sign_together": LEADS,
    "deciding.seal": LEADS,
    "deciding.add": LEADS,
    "deciding.addition": READERS,
    "deciding.question": LEADS,
    "worrying.worry": LEADS,
    "registers.tablets": LEADS,
    "registers.make_code": LEADS,
    "registers.disable_tablet": LEADS,
    "registers.rename_tablet": LEADS,
    "registers.clear_fork": LEADS,
    "registers.answer_alarm": LEADS,
    "registers.waiting_file": LEADS,
    "registers.slots": READERS,
    "registers.slots_file": READERS,
    "slots.slot": READERS,
    "slots.change": LEADS,
    "slots.term": LEADS,
    "registers.people": READERS,
    "registers.people_file": READERS,
    "people.new": LEADS,
    "people.person": READERS,
    "people.change": LEADS,
    "registers.machines": READERS,
    "procedures.overview": READERS,
    "procedures.procedure": READERS,
    "procedures.preview": READERS,
    "procedures.glass": READERS,
    "step_pictures.file": READERS,
    "step_pictures.page": LEADS,
    "procedures.begin": LEADS,
    "procedures.act": LEADS,
    "procedures.step": LEADS,
    "procedures.publish": LEADS,
    "procedures.take_over": LEADS,
    "procedures.discard": LEADS,
    "procedures.retire": LEADS,
    "fixtures.overview": READERS,
    "fixtures.trends": READERS,
    "printing.trends": READERS,
    "fixtures.seating": LEADS,
    "fixtures.value": LEADS,
    "fixtures.back": LEADS,
    "choosing.matters": READERS,
    "choosing.choose": LEADS,
    "budgets.page": READERS,
    "budgets.confidence": LEADS,
    "budgets.correlate": LEADS,
    "budgets.take_correlation_back": LEADS,
    "budgets.line": LEADS,
    "budgets.take_back": LEADS,
    "probes.overview": READERS,
    "probes.probe": READERS,
    "probes.check": LEADS,
    "probes.care": LEADS,
    "z_readings.page": READERS,
    "z_readings.check": LEADS,
    "past.overview": READERS,
    "past.export": READERS,
    "past.look": LEADS,
    "past.take_in": LEADS,
    "past.setup": READERS,
    "audit.ledger": READERS,
    "audit.ledger_file": READERS,
    "audit.entry": READERS,
    "audit.verify": PEOPLE,
    "handing_out.setup": READERS,
    "handing_out.days": READERS,
    "heads.today": READERS,
    "heads.text": READERS,
    "heads.mail": READERS,
    "heads.compare": READERS,
}


@dataclass(frozen=True)
class Who:
    """The person behind a session:
    short id, name, roles, and whether the first secrets still have to be changed.
    """

    id: str
    name: str
    roles: frozenset[str]
    must_change: bool = False

    def is_a(self, role: str) -> bool:
        """Whether the person has this role."""
        return role in self.roles

    @property
    def reads_all(self) -> bool:
        """Whether the person may see other people's setups:
        lead and auditor may, an operator sees their own.
        """
        return bool(self.roles & READERS)


class EndpointWithoutRights(RuntimeError):
    """The application has a route that the table does not name."""


def check_table(endpoints: Iterable[str], more: Mapping[str, frozenset[str]] | None = None) -> None:
    """Raise EndpointWithoutRights if an endpoint stands in neither table."""
    missing = sorted(set(endpoints) - RIGHTS.keys() - (more or {}).keys())
    if missing:
        raise EndpointWithoutRights(f"no rights are written down for {', '.join(missing)}")


def allowed(needed: frozenset[str] | None, who: Who | None) -> bool:
    """Whether this person, or nobody (None), may call an endpoint that needs one of these roles. None: nobody
    may.
    """
    if not needed:
        return False
    if needed & {PUBLIC, DEVICE}:
        return True
    if who is None:
        return False
    return SIGNED_IN in needed or bool(needed & who.roles)


def may_open(who: Who, owner_id: str) -> bool:
    """Whether a person may open a setup that belongs to this owner."""
    return who.reads_all or who.id == owner_id
