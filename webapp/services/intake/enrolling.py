"""Tablets: enrolling one, naming it anew, disabling one, and what each asks for.

Rules:
- a code is made by a lead, good for ten minutes and once, for as long as they are one;
  only its hash is stored, and an unknown, a used, an old code and one of nobody's are refused alike;
- the tablet proves that it holds the private half of the key it brings, by a signature over the code's hash
  and its name; the key is a P-256 key (RFC 7518 section 6.2.1) and names itself by its RFC 7638 thumbprint;
- what the tablet is given to pin (the key for PINs, the key of receipts) is kept with the enrolment;
- a tablet enrolled outside the installed app is noted as that, because its data is less well kept there;
- a disabled tablet stays known, so that what it signed earlier can still be checked;
- with each request a tablet says whether its browser protects what it holds, how much room there is, and how
  far its clock is off; what is new is kept, and once a minute at most what is not. A tablet in the middle of
  a setup goes on in its own version, so a request of an earlier version, without that, is read as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING, Annotated, Literal, NotRequired, cast

from pydantic import Field
from typing_extensions import TypedDict

from webapp.domain.evidence.told import code_digest
from webapp.domain.plain.declared import Shape, exactly
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.json_strict import read_json
from webapp.domain.shop.fitted_machine import Place
from webapp.proof.errors import JwsRefused
from webapp.proof.keys.jws import DeviceKey
from webapp.services.errors import NameRefused, RoleMissing
from webapp.services.evidence.ledger import change
from webapp.services.intake import alarms
from webapp.services.intake.alarms import AlarmNews
from webapp.services.intake.also_there import AlsoThere, also_there
from webapp.services.intake.coming_back import bridge, sheet_tag
from webapp.services.intake.errors import (
    CodeRefused,
    DeviceDisabled,
    KeyRefused,
    NoSuchDevice,
    NotForked,
    ProofRefused,
)
from webapp.services.intake.signed_requests import read_signed
from webapp.services.people import throttle
from webapp.services.people.access import must_be_lead
from webapp.services.people.errors import TooManyTries
from webapp.services.sheets.known_at_once import known_at_once
from webapp.services.times import later, utc_text
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.store import Store
    from webapp.store.rows import DeviceRow, Health

    class ListedDevice(DeviceRow):
        """A tablet with how many of its events wait for an earlier one."""

        waiting: int


ENROL_DOMAIN = "zerokeep/enrol/1"
ENROL_TYPE = "zerokeep-enrol+jws"
REQUEST_TYPE = "zerokeep-request+jws"
CODE_MINUTES = 10
MOST_ASKED = 500
LONGEST_NAME = 60
DISPLAYS = ("standalone", "browser")
SEEN_EVERY_SECONDS = 60
SKEW_TOLD_MS = 1_000
ELSEWHERE_MINUTES = 60


class Enrolled(TypedDict):
    """What a tablet is told when it is taken in."""

    device: str
    receipt_key: dict[str, str]
    pin_key: dict[str, str]
    shop: str


@exactly
class SaidOfItself(TypedDict):
    """What a tablet says of its storage (None: its browser does not tell) and of its clock."""

    persisted: bool | None
    usage_bytes: Annotated[int, Field(ge=0)] | None
    quota_bytes: Annotated[int, Field(ge=0)] | None
    skew_ms: int | None


@exactly
class SignedRequest(TypedDict):
    """The payload of a signed request.
    Programs from before say neither how they are nor which sheets they hold, nor that they ask which fixture.
    """

    domain: Literal["zerokeep/request/1"]
    challenge: str
    have: Annotated[list[str], Field(max_length=MOST_ASKED)]
    setups: Annotated[list[str], Field(max_length=MOST_ASKED)]
    health: NotRequired[SaidOfItself]
    sheets_sha256: NotRequired[str]
    own_machines: NotRequired[Annotated[list[str], Field(max_length=MOST_ASKED)]]
    asks_which_fixture: NotRequired[Literal[True]]
    not_held: NotRequired[Annotated[list[str], Field(max_length=MOST_ASKED)]]
    alarm: NotRequired[str]


REQUEST: Shape[SignedRequest] = Shape(SignedRequest)


class NewsRequest(TypedDict):
    """What a tablet asks for: which sheets it has, at which machines it is used, its setups, and the tablet's
    row.
    """

    domain: str
    challenge: str
    have: list[str]
    setups: list[str]
    health: NotRequired[Health]
    sheets_sha256: NotRequired[str]
    own_machines: NotRequired[list[str]]
    asks_which_fixture: NotRequired[Literal[True]]
    not_held: NotRequired[list[str]]
    alarm: NotRequired[str]
    device: DeviceRow


class OwnState(TypedDict):
    """How a tablet stands itself."""

    state: str


class SheetNews(TypedDict):
    """A sheet of now; its text is None for one that the tablet has."""

    hash: str
    text: str | None
    tag: NotRequired[str]


class News(TypedDict):
    """What a tablet is told. `sheets` is None for one that keeps the list named `sheets_sha256` already."""

    sheets: list[SheetNews] | None
    sheets_sha256: NotRequired[str]
    decisions: list[str]
    device: OwnState
    alarm: NotRequired[AlarmNews]
    also: NotRequired[list[AlsoThere]]


def code_hash(code: str) -> str:
    """SHA-256 of a code, lower-case hex: capitals, blanks and hyphens that people add do not count."""
    plain = "".join(character for character in code.upper() if character.isalnum())
    return sha256(plain.encode()).hexdigest()


def make_code(store: Store, by: str, now: datetime, code: str) -> dict[str, str]:
    """Let one tablet enrol with this code, made by chance by the caller;
    {"until_utc"}. Raises RoleMissing.
    """
    until = later(now, minutes=CODE_MINUTES)
    with store.writing():
        must_be_lead(store, by)
        store.devices.add_code(code_hash(code), by, utc_text(now), until)
        data = {"until_utc": until, "code": code_digest(code_hash(code))}
        change(store, "code.made", by, "device", None, data, now)
    return {"until_utc": until}


def enrol(
    store: Store,
    keyring: KeyRing,
    code: str,
    name: str,
    jwk: Mapping[str, object],
    display: str,
    proof: str,
    now: datetime,
    source: str = "network",
) -> Enrolled:
    """Take a tablet in; {"device","receipt_key","pin_key","shop"}.

    Raises NameRefused, KeyRefused, ProofRefused, CodeRefused, TooManyTries;
    nothing is stored then, except the try.
    """
    name = _checked_name(name)
    if display not in DISPLAYS:
        raise NameRefused(longest=LONGEST_NAME)
    key = _checked_key(jwk)
    _check_proof(key, code, name, proof)
    _count_try(store, source, now)
    with store.writing():
        made_by = _use_code(store, code, key.kid, now)
        _add(store, keyring, key.kid, name, jwk, display, made_by, code_digest(code_hash(code)), now)
        shop = store.shop.item("shop", "shop")
        throttle.was_right(store, _subjects(source))
    return {
        "device": key.kid,
        "receipt_key": keyring.receipt_jwk,
        "pin_key": keyring.pin_jwk,
        "shop": shop["name"] if shop else "",
    }


def disable(store: Store, device_id: str, by: str, reason: str, now: datetime) -> None:
    """Take nothing more from a tablet. Raises NoSuchDevice, RoleMissing, ReasonMissing."""
    _set_state(store, device_id, "disabled", "device.disabled", by, reason, now)


def clear_fork(store: Store, device_id: str, by: str, reason: str, now: datetime) -> None:
    """Say that two chains of one tablet were looked into;
    it is an ordinary tablet again, and the events all stay.

    Raises NoSuchDevice, RoleMissing, ReasonMissing, DeviceDisabled, NotForked.
    """
    _set_state(store, device_id, "enrolled", "device.fork_cleared", by, reason, now)


def rename(store: Store, device_id: str, by: str, name: str, now: datetime) -> None:
    """Call a tablet by another name; on the ledger stand both. Its own page goes on with the name that it was
    taken into use with. Raises NameRefused, NoSuchDevice, RoleMissing.
    """
    name = _checked_name(name)
    with store.writing():
        must_be_lead(store, by)
        row = store.devices.device(device_id)
        if row is None:
            raise NoSuchDevice(device=device_id)
        if row["name"] == name:
            return
        store.devices.set_name(device_id, name)
        change(store, "device.renamed", by, device_id, None, {"old": row["name"], "name": name}, now)


def devices(store: Store) -> list[ListedDevice]:
    """All tablets with how many events of each wait for an earlier one."""
    with store.reading():
        rows = store.devices.everything()
        return [{**row, "waiting": store.events.waiting_count(row["id"])} for row in rows]


def read_request(store: Store, request: str, now: datetime) -> NewsRequest:
    """The payload of a tablet's signed request, with "device" (its row) put in:
    {"challenge","have","setups","device"}.

    The caller checks the challenge. A disabled tablet may ask, to learn that it is. Raises ProofRefused.
    """
    device, payload = read_signed(store, request, REQUEST_TYPE)
    if not REQUEST.passes(payload):
        raise ProofRefused
    if _is_worth_noting(device, payload.get("health"), now):
        with store.writing():
            store.devices.see(device["id"], utc_text(now))
            if "health" in payload:
                store.devices.keep_health(device["id"], payload["health"])
    return cast("NewsRequest", {**payload, "device": device})


def _is_worth_noting(device: DeviceRow, health: Health | None, now: datetime) -> bool:
    """Whether a tablet was not heard of for a while, or says something else of itself than it did.

    Tablets ask four times a minute:
    a write for each, flushed to the disk, would be most of what the disk does.
    """
    seen, kept = device["last_seen_at_utc"], device["health"]
    if seen is None or not later(now, seconds=-SEEN_EVERY_SECONDS) < seen <= utc_text(now):
        return True
    if health is None or kept is None:
        return health is not kept
    return health["persisted"] != kept["persisted"] or _has_moved(health["skew_ms"], kept["skew_ms"])


def _has_moved(skew_ms: int | None, kept_ms: int | None) -> bool:
    if skew_ms is None or kept_ms is None:
        return skew_ms != kept_ms
    return abs(skew_ms - kept_ms) > SKEW_TOLD_MS


def _checked_name(name: str) -> str:
    name = name.strip()
    if not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
        raise NameRefused(longest=LONGEST_NAME)
    return name


def _checked_key(jwk: Mapping[str, object]) -> DeviceKey:
    try:
        return DeviceKey.from_jwk(dict(jwk))
    except JwsRefused:
        raise KeyRefused from None


def _check_proof(key: DeviceKey, code: str, name: str, proof: str) -> None:
    """The signature shows that whoever sends the key holds its private half, here and now."""
    try:
        payload = read_json(key.verify(proof, ENROL_TYPE).payload_bytes)
    except (JwsRefused, DomainError):
        raise ProofRefused from None
    typed = sha256(code.encode()).hexdigest()
    expected = {"domain": ENROL_DOMAIN, "name": name}
    if not isinstance(payload, dict) or payload.keys() != {*expected, "code_sha256"}:
        raise ProofRefused
    same_name = all(payload[field] == value for field, value in expected.items())
    if not same_name or payload["code_sha256"] not in {typed, code_hash(code)}:
        raise ProofRefused


def _subjects(source: str) -> throttle.Subjects:
    return ((f"enrol:{source[:LONGEST_NAME]}", throttle.SOURCE),)


def _count_try(store: Store, source: str, now: datetime) -> None:
    with store.writing():
        wait = throttle.begin_try(store, _subjects(source), now)
    if wait is not None:
        raise TooManyTries(seconds=wait.seconds or 0)


def _use_code(store: Store, code: str, device_id: str, now: datetime) -> str:
    hashed = code_hash(code)
    row = store.devices.code(hashed)
    if row is None or row["used_at_utc"] is not None or row["until_utc"] < utc_text(now):
        raise CodeRefused
    try:
        must_be_lead(store, row["made_by"])
    except RoleMissing:
        raise CodeRefused from None
    if store.devices.device(device_id) is not None:
        raise KeyRefused
    store.devices.use_code(hashed, utc_text(now))
    return str(row["made_by"])


def _add(
    store: Store,
    keyring: KeyRing,
    kid: str,
    name: str,
    jwk: Mapping[str, object],
    display: str,
    by: str,
    code: str,
    now: datetime,
) -> None:
    public = {part: str(jwk[part]) for part in ("kty", "crv", "x", "y")}
    store.devices.add(
        kid,
        public,
        name=name,
        display=display,
        pin_key=keyring.pin_key_id,
        receipt_key=keyring.receipt_key_id,
        enrolled_at_utc=utc_text(now),
    )
    keys = {"pin_key": keyring.pin_key_id, "receipt_key": keyring.receipt_key_id}
    data = {"name": name, "jwk": public, "display": display, **keys, "code": code}
    change(store, "device.enrolled", by, kid, None, data, now)
    if display != "standalone":
        change(store, "device.display_override", by, kid, None, {"display": display}, now)


def _set_state(
    store: Store, device_id: str, state: str, kind: str, by: str, reason: str, now: datetime
) -> None:
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        row = store.devices.device(device_id)
        if row is None:
            raise NoSuchDevice(device=device_id)
        if row["state"] == "disabled" and state != "disabled":
            raise DeviceDisabled
        if state == "enrolled" and row["state"] != "forked":
            raise NotForked(device=row["name"])
        store.devices.set_state(device_id, state)
        change(store, kind, by, device_id, None, {"reason": reason}, now)


def news(store: Store, keyring: KeyRing, request: NewsRequest, now: datetime) -> News:
    """What a tablet is told: the sheets of all machines and their fixtures, decisions of its setups, how it
    stands itself.

    `request` is what read_request gave. A disabled tablet is told only that. Texts of sheets it has are left
    out (None). Of a machine where it is not used, it keeps the sheet it has for ELSEWHERE_MINUTES while only
    values changed, so that a touch at one machine is no news at all others; tablets that do not say where
    they are used are told everything. "sheets_sha256" names the whole list of hashes: a tablet that says it
    keeps just that list gets no list (None). A program that cannot ask which fixture gets those alone that
    are offered first.
    """
    from webapp.services.sheets.preparing import current_hashes  # noqa: PLC0415 - preparing is slow to load

    state: OwnState = {"state": request["device"]["state"]}
    if state["state"] == "disabled":
        return {"sheets": [], "decisions": [], "device": state}
    if "not_held" in request:
        bridge(store, request["device"]["id"], request["not_held"], now)
    told = alarms.take(store, request["device"], request["alarm"], now) if "alarm" in request else None
    found = current_hashes(store, now, first_only="asks_which_fixture" not in request)
    with store.reading():
        found |= _kept_elsewhere(store, request, found, now)
        hashes = [found[place] for place in sorted(found)]
        digest = sha256("\n".join(hashes).encode()).hexdigest()
        had = set(request["have"])
        same = request.get("sheets_sha256") == digest
        sheets = None if same else _listed(store, keyring, hashes, had)
        own = store.setups.setups_by_id(request["setups"])
        also = also_there(store, request["device"]["id"], own.values(), now)
        wanted = [
            setup
            for setup in request["setups"]
            if setup in own and own[setup]["device"] == request["device"]["id"]
        ]
        decisions = [
            row["text"] for setup in dict.fromkeys(wanted) for row in store.ledger.changes_of_setup(setup)
        ]
    said: News = {"sheets": sheets, "sheets_sha256": digest, "decisions": decisions, "device": state}
    if also:
        said["also"] = also
    return said if told is None else {**said, "alarm": told}


def _kept_elsewhere(
    store: Store, request: NewsRequest, current: Mapping[Place, str], now: datetime
) -> dict[Place, str]:
    """The hash of the sheet to keep for each fixture of a machine where the tablet is not used, where it has
    one of that very fixture that is young enough.
    """
    have = set(request["have"])
    used_at = request.get("own_machines")
    elsewhere = [
        place
        for place, hash_ in current.items()
        if used_at is not None and place.machine not in used_at and hash_ not in have
    ]
    if not elsewhere:
        return {}
    now_utc, since_utc = utc_text(now), later(now, minutes=-ELSEWHERE_MINUTES)
    young = [
        (row["machine"], row["hash"])
        for row in store.sheets.sheets_dated(have)
        if row["compiled_at_utc"] >= since_utc and row["expires_at_utc"] > now_utc
    ]
    machines = {place.machine for place in elsewhere}
    held = [one for one in young if one[0] in machines]
    told = known_at_once(store, [*(hash_ for _, hash_ in held), *(current[place] for place in elsewhere)])
    # What is told at once says which fixture it is and how it sits: only its own sheet can be the same.
    return {
        place: hash_
        for place in elsewhere
        for machine, hash_ in held
        if machine == place.machine and told.get(hash_) == told.get(current[place], "")
    }


def _listed(store: Store, keyring: KeyRing, hashes: list[str], had: set[str]) -> list[SheetNews]:
    """The sheets of these hashes, with the texts of those that are not had, and what shows later whose they
    are.
    """
    texts = store.sheets.texts_of_sheets([one for one in hashes if one not in had])
    return [
        {"hash": one, "text": texts[one], "tag": sheet_tag(keyring, one)}
        if one in texts
        else {"hash": one, "text": None}
        for one in hashes
    ]
