"""Whether the events inside a record hold:
signatures, chain, setup, sheet, and the persons' signatures on it all.

Rules:
- every event is a message of one of the devices listed in the record, whose id is the fingerprint of its key;
- a device's sequence grows; where two events follow each other directly, the later names the earlier by its
  id. A device's chain runs over all its setups, so a gap is told and counted here: the ledger proves what
  lies in it;
- two different events with one number are a fork of their device. It does not undo the record: both events
  stand in it and on its pages, and the line names them. Behind a fork the event before may lie in another
  setup of the copy;
- all events and decisions are of the record's setup, all events of the sheet that is attached;
- the operator's signature is among the events and was verified with a PIN, and the sign-off came after it;
- the sign-off names what the lead had read: the fingerprint of the events and of the decisions before it is
  worked out again from what is in the record (see domain/evidence/reviewed.py). Events that came later are
  counted and told.
"""

from collections.abc import Iterator, Mapping, Sequence
from hashlib import sha256
from typing import Any

from webapp.domain.evidence.chain import Fork, forks
from webapp.domain.evidence.event_kinds import Event
from webapp.domain.evidence.events import read_event
from webapp.domain.evidence.reviewed import fits
from webapp.domain.plain.errors import DomainError
from webapp.domain.record.bundle import RecordBundle
from webapp.proof.errors import JwsRefused
from webapp.proof.keys.jws import DeviceKey, key_id
from webapp.proof.report import Line, failed, held, refusal_words

CHANGE_DOMAIN = "zerokeep/change/1"
MOST_NAMED = 8
DECISION_NAMES = {"domain", "type", "at_utc", "by", "subject", "setup", "data"}

AnyEvent = Event[Any]
# Any JSON value, until it has been looked at.
Decision = Any


def check_events(bundle: RecordBundle, setup: str) -> list[Line]:
    """One line each on signatures, chain, belonging, the persons' signatures and what was reviewed;
    `setup` is the record's id.
    """
    opened, signatures = _open(bundle.events, bundle.devices)
    if opened is None:
        not_asked = [
            failed(f"record.{name}", "not_asked") for name in ("chain", "belongs", "signed", "reviewed")
        ]
        return [signatures, *not_asked]
    sheet_hash = sha256(bundle.sheet_text.encode()).hexdigest()
    decisions = bundle.decoded_decisions()
    belongs = _belonging_line(sheet_hash, opened, decisions, setup)
    signed = _signed_line(opened, decisions)
    read = _reviewed_line(bundle, setup, sheet_hash, [event["id"] for event in opened])
    return [signatures, _chain_line(opened), belongs, signed, read]


def _open(
    events: Sequence[str], devices: Sequence[Mapping[str, object]]
) -> tuple[list[AnyEvent] | None, Line]:
    place = 0
    try:
        keys = _keys(devices)
        opened: list[AnyEvent] = []
        for place, compact in enumerate(events, start=1):
            kid = key_id(compact)
            if kid not in keys:
                return None, failed("record.events", "unknown_device", place=place, device=kid)
            verified = keys[kid].verify(compact)
            event = read_event(verified.payload_bytes)
            if event["device"] != kid:
                return None, failed("record.events", "unknown_device", place=place, device=event["device"])
            opened.append({**event, "id": verified.event_id})
    except (JwsRefused, DomainError) as refused:
        return None, failed("record.events", "refused", place=place, refusal=refusal_words(refused))
    if not opened:
        return None, failed("record.events", "none")
    return opened, held("record.events", events=len(opened), devices=len(keys))


def _keys(devices: Sequence[Mapping[str, object]]) -> dict[str, DeviceKey]:
    keys = {}
    for device in devices:
        jwk = device.get("jwk")
        key = DeviceKey.from_jwk(jwk if isinstance(jwk, dict) else {})
        if device.get("id") != key.kid:
            raise JwsRefused("jwk.false_name")
        keys[key.kid] = key
    return keys


def _chain_line(events: Sequence[AnyEvent]) -> Line:
    """Whether the events follow each other; forks are named and what follows them is still looked at."""
    split = forks(events)
    first_fork: dict[str, int] = {}
    for fork in split:
        first_fork.setdefault(fork.device, fork.sequence)
    last: dict[
        str, tuple[int, set[str], set[str]]
    ] = {}  # number, its events, the events of the number before
    elsewhere = 0
    for event in events:
        device, number = event["device"], event["sequence"]
        at, here, before = last.get(device, (number - 1, set(), set()))
        if number < at or event["id"] in here:
            return failed("record.chain", "out_of_order", sequence=number, after=at)
        if number > at:
            before = here if number == at + 1 else set()
            here = set()
            elsewhere += number - at - 1
        # Behind a fork the event before may be the copy's, in another setup.
        if before and event["previous"] not in before and number < first_fork.get(device, number + 1):
            return failed("record.chain", "broken", sequence=number)
        last[device] = (number, here | {event["id"]}, before)
    return _chain_words(len(events), elsewhere, split)


def _chain_words(events: int, elsewhere: int, split: Sequence[Fork]) -> Line:
    if not split:
        how = {"events": elsewhere} if elsewhere else {"events": events}
        says = "record.chain.holds_with_gaps" if elsewhere else "record.chain.holds"
        return Line("record.chain", holds=True, says=says, fields={**how})
    named = "; ".join(f"{fork.sequence}: {', '.join(fork.events)}" for fork in split[:MOST_NAMED])
    fields: dict[str, str | int] = {"forks": len(split), "named": named, "events": elsewhere}
    return Line("record.chain", holds=True, says="record.chain.holds_with_fork", fields=fields)


def _belonging_line(
    sheet_hash: str, events: Sequence[AnyEvent], decisions: Sequence[Decision], setup: str
) -> Line:
    for place, event in enumerate(events, start=1):
        if event["setup"] != setup:
            return failed("record.belongs", "other_setup", place=place)
        if event["sheet"] != sheet_hash:
            return failed("record.belongs", "other_sheet", place=place)
    for place, decision in enumerate(decisions, start=1):
        if not _is_whole(decision):
            return failed("record.belongs", "decision_unreadable", place=place)
        if decision["domain"] != CHANGE_DOMAIN or decision["setup"] != setup:
            return failed("record.belongs", "other_decision", place=place)
    return held("record.belongs", setup=setup, sheet=sheet_hash, decisions=len(decisions))


def _signed_line(events: Sequence[AnyEvent], decisions: Sequence[Decision]) -> Line:
    signed = {(event["id"], event["person"]) for event in events if event["type"] == "setup.signed"}
    verified = [
        place for place, one in _of_type(decisions, "signature.verified") if _names_one_of(one, signed)
    ]
    if not verified:
        return failed("record.signed", "not_verified")
    accepted = [(place, one) for place, one in _of_type(decisions, "setup.signed_off") if place > verified[0]]
    refused = [place for place, _ in _of_type(decisions, "setup.not_accepted")]
    if not accepted or max(refused, default=-1) > accepted[-1][0]:
        return failed("record.signed", "not_signed_off")
    operator, lead = str(decisions[verified[0]]["data"]["person"]), str(accepted[-1][1]["by"])
    if operator == lead:
        return failed("record.signed", "own_work", person=lead)
    return held("record.signed", operator=operator, lead=lead)


def _reviewed_line(bundle: RecordBundle, setup: str, sheet_hash: str, ids: list[str]) -> Line:
    """Whether the last sign-off is about what is in the record; whether there is one is asked elsewhere."""
    signed_off = list(_of_type(bundle.decoded_decisions(), "setup.signed_off"))
    if not signed_off:
        return failed("record.reviewed", "not_asked")
    place, decision = signed_off[-1]
    data = decision["data"]
    claim = data.get("reviewed") if isinstance(data, dict) else None
    if claim is None:
        return failed("record.reviewed", "not_said")
    if not fits(claim, setup, sheet_hash, ids, bundle.decisions[:place]):
        return failed("record.reviewed", "differs")
    later = len(ids) - claim["events"]
    if later:
        fields: dict[str, str | int] = {"events": claim["events"], "later": later}
        return Line("record.reviewed", holds=True, says="record.reviewed.holds_with_later", fields=fields)
    return held("record.reviewed", events=claim["events"])


def _names_one_of(decision: Decision, signed: set[tuple[str, str]]) -> bool:
    data = decision["data"]
    return isinstance(data, dict) and (data.get("event"), data.get("person")) in signed


def _of_type(decisions: Sequence[Decision], kind: str) -> Iterator[tuple[int, Decision]]:
    return ((place, one) for place, one in enumerate(decisions) if _is_whole(one) and one["type"] == kind)


def _is_whole(decision: Decision) -> bool:
    return isinstance(decision, dict) and decision.keys() >= DECISION_NAMES
