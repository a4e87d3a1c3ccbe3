"""What a tablet reports of the ledger: that it went back or was written anew since the head that it kept.

Rules: the tablet signs what it kept and what it got; that text stands on the ledger as it came, once, and
stays open on the lead's first page until a lead has looked into it and says what was found. The tablet shows
the answer. A server that hides such a report hides it from its own lead alone: the tablet goes on showing it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field
from typing_extensions import TypedDict

from webapp.domain.plain.declared import Shape, exactly
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.json_strict import read_json
from webapp.proof.errors import JwsRefused
from webapp.proof.keys.encoding import from_base64url
from webapp.proof.keys.jws import DeviceKey
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.evidence.open_alarms import ANSWERED, RAISED, data_of, unanswered
from webapp.services.intake.errors import ProofRefused
from webapp.services.people.access import must_be_lead
from webapp.services.times import utc_text
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow, DeviceRow

ALARM_TYPE = "zerokeep-alarm+jws"
# Each is signed by the tablet, but a tablet that went wrong could sign one after the other.
MOST_A_DAY = 20


@exactly
class SeenHead(TypedDict):
    """A head as a tablet keeps it: size, root (hex), and the note that the server signed."""

    size: Annotated[int, Field(ge=0)]
    root: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    note: Annotated[str, Field(max_length=4096)]


@exactly
class Alarm(TypedDict):
    """The payload of a report; `got` is None where the server would sign no head."""

    domain: Literal["zerokeep/alarm/1"]
    kind: Literal["went_back", "forked"]
    kept: SeenHead
    got: SeenHead | None
    at_utc: str


ALARM: Shape[Alarm] = Shape(Alarm)


class AlarmAnswer(TypedDict):
    """What a lead found."""

    by: str
    at_utc: str
    reason: str


class AlarmNews(TypedDict):
    """What a tablet is told of its report: that it stands on the ledger, and what a lead found."""

    id: str
    answer: AlarmAnswer | None


@dataclass(frozen=True)
class OpenAlarm:
    """A report that no lead has answered. `got_size` is None where no head was signed."""

    id: str
    device: str
    device_name: str
    kind: str
    at_utc: str
    kept_size: int
    got_size: int | None


def take(store: Store, device: DeviceRow, report: str, now: datetime) -> AlarmNews | None:
    """Put a tablet's report onto the ledger, once; what to tell the tablet. Raises ProofRefused.

    None for one more than a tablet may make a day: it is not noted, and the tablet goes on showing it.
    """
    try:
        verified = DeviceKey.from_jwk(device["jwk"]).verify(report, ALARM_TYPE)
        payload = read_json(verified.payload_bytes)
    except (JwsRefused, DomainError):
        raise ProofRefused from None
    if not ALARM.passes(payload):
        raise ProofRefused
    id_ = verified.event_id
    with store.reading():
        raised = _of(store, device["id"], RAISED)
        known = id_ in {data_of(row)["alarm"] for row in raised}
        today = sum(row["at_utc"][:10] == utc_text(now)[:10] for row in raised)
    if not known and today >= MOST_A_DAY:
        return None
    if not known:
        data = {"alarm": id_, "kind": payload["kind"], "statement": report}
        with store.writing():
            change(store, RAISED, SERVER, device["id"], None, data, now)
    with store.reading():
        return {"id": id_, "answer": _answer(store, device["id"], id_)}


def open_alarms(store: Store) -> list[OpenAlarm]:
    """Reports that no lead has answered, newest first."""
    with store.reading():
        found = unanswered(store)
        names = {row["id"]: row["name"] for row in store.devices.everything()}
    return [_open(row, data_of(row), names) for row in found]


def answer(store: Store, alarm: str, by: str, reason: str, now: datetime) -> None:
    """Write down what a lead found. Raises RoleMissing, ReasonMissing, ProofRefused for a report that is
    none.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        found = [
            row for row in store.ledger.changes(kind=RAISED, newest=None) if data_of(row)["alarm"] == alarm
        ]
        if not found:
            raise ProofRefused
        change(store, ANSWERED, by, found[0]["subject"], None, {"alarm": alarm, "reason": reason}, now)


def _of(store: Store, device: str, kind: str) -> list[ChangeRow]:
    return [row for row in store.ledger.changes(kind=kind, newest=None) if row["subject"] == device]


def _answer(store: Store, device: str, alarm: str) -> AlarmAnswer | None:
    for row in _of(store, device, ANSWERED):
        if data_of(row)["alarm"] == alarm:
            return {"by": row["by"], "at_utc": row["at_utc"], "reason": data_of(row)["reason"]}
    return None


def _open(row: ChangeRow, data: Mapping[str, str], names: Mapping[str, str]) -> OpenAlarm:
    said = read_json(from_base64url(data["statement"].split(".")[1]))
    got = said["got"]
    return OpenAlarm(
        data["alarm"],
        row["subject"],
        names.get(row["subject"], row["subject"]),
        data["kind"],
        said["at_utc"],
        said["kept"]["size"],
        got["size"] if got else None,
    )
