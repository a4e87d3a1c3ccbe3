"""Lists that grow with the ledger, held against it in stretches: sessions, what was set aside, what waits,
the list of sealed records, sheets that were handed out.

Rules: each row has the entry that began it, and each entry its row. What stands in a signed text or in a
sheet's own text is read there and compared with the columns that lists are searched by. Of texts that nobody
signed the oldest make room, so that one which is gone is no fault.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from webapp.domain.evidence.told import UNSIGNED
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.json_strict import canonical_text
from webapp.proof.errors import JwsRefused
from webapp.proof.keys.encoding import from_base64url
from webapp.proof.keys.jws import event_id
from webapp.services.audit.signed_beside import misfits_of_set_aside, misfits_of_waiting
from webapp.services.audit.unreadable import readable
from webapp.services.evidence.ledger import entries, entries_in_pieces, said_by
from webapp.services.evidence.ledger_walk import Fault
from webapp.services.intake.coming_back import BROUGHT_BACK, NOT_HELD
from webapp.services.numbers.values_told import texts

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow, SheetRow

SIGNED_IN, ENDED, SET_ASIDE, SEALED = "sign_in.succeeded", "session.ended", "event.set_aside", "record.sealed"
ENDS_OF_PERSON = ("person.disabled", "secret.changed")
NOBODY = "unknown"
MOST_AT_ONCE = 50_000
Data = Mapping[str, object]
# Gives the entries of some kinds, in the order of the ledger.
Read = Callable[[tuple[str, ...]], Iterator["ChangeRow"]]


def _any(_: Data) -> bool:
    return True


def _never(_: Data) -> str:
    return ""


@dataclass(frozen=True, slots=True)
class Listed:
    """A table, the column of its key, what is said of its rows by key (only of keys that are asked for), a
    row as entries have it, what has to hold of it by itself, under which key entries speak of it that did not
    name it yet, and how a key is shown.
    """

    table: str
    key: str
    said: Callable[[Read, Callable[[str], bool]], dict[str, Data]]
    read: Callable[[Data], Data] = dict
    fits: Callable[[Data], bool] = _any
    early: Callable[[Data], str] = _never
    shown: Callable[[str], str] = str


def misfits(store: Store) -> Iterator[Fault]:
    """Rows that are not what the ledger or a text says, each stretch read in a short transaction."""
    for listed in LISTS:
        yield from readable(listed.table, _held_against(store, listed))
    yield from readable("waiting", misfits_of_waiting(store))
    yield from readable("set_aside", misfits_of_set_aside(store))


def not_covered(store: Store) -> dict[str, str]:
    """How many rows nothing is said of. Inside a transaction."""
    early = sum("session" not in said_by(entry["text"]) for entry in entries(store, (SIGNED_IN,)))
    told = "begun before the ledger named sessions: by the notes of the rows alone"
    return {f"session ({early})": told} if early else {}


def fits_its_text(row: SheetRow) -> bool:
    """Whether the columns of a sheet say what its text says."""
    try:
        sheet = json.loads(row["text"])
        said = sheet["machine"]["id"], sheet["compiled_at_utc"], sheet["expires_at_utc"]
        timeless = _timeless(row["text"], sheet)
    except (ValueError, LookupError, TypeError, DomainError):
        return False
    # One that a tablet brought back says when.
    back = row["content"].partition(" ")[0] == BROUGHT_BACK
    content = back or row["content"] == sha256(timeless.encode()).hexdigest()
    return content and said == (row["machine"], row["compiled_at_utc"], row["expires_at_utc"])


def _timeless(text: str, sheet: Data) -> str:
    """The text of a sheet as it was compiled before a time was put in: its times and the offsets of its days
    empty. Put together anew only where one of them stands in it twice.
    """
    shop = sheet["shop"]
    offsets = shop.get("offsets") if isinstance(shop, Mapping) else None
    emptied = {"compiled_at_utc": "", "expires_at_utc": ""}
    now = {name: f'"{name}":"{sheet[name]}"' for name in emptied}
    then = {name: f'"{name}":""' for name in emptied}
    if offsets:
        now["offsets"], then["offsets"] = f'"offsets":{canonical_text(offsets)}', '"offsets":[]'
    for name, said in now.items():
        if text.count(f'"{name}":') != 1 or said not in text:
            shops = {"shop": {**shop, "offsets": []}} if offsets and isinstance(shop, Mapping) else {}
            return canonical_text({**sheet, **emptied, **shops})
        text = text.replace(said, then[name])
    return text


def _held_against(store: Store, listed: Listed) -> Iterator[Fault]:
    """Rows against what is said of each, in as many passes as keep each small. What does not fit is looked at
    once more in one transaction: rows that came, changed or ended meanwhile are no faults.
    """
    with store.reading():
        passes = 1 + store.row_changes.count(listed.table) // MOST_AT_ONCE
    for number in range(passes):
        mine = _share(number, passes)
        said = listed.said(partial(entries_in_pieces, store), mine)
        doubted = _differing(listed, _in_pieces(store, listed.table), said, mine)
        if doubted:
            with store.reading():
                said = listed.said(partial(entries, store), doubted.__contains__)
                doubted = _differing(listed, _inside(store, listed.table), said, doubted.__contains__)
        yield from (
            Fault("audit.not_as_said", f"{listed.table} {listed.shown(key)}") for key in sorted(doubted)
        )


def _share(number: int, passes: int) -> Callable[[str], bool]:
    """Which keys a pass looks at: all of them where there is one."""
    if passes == 1:
        return lambda _: True
    return lambda key: int(sha256(key.encode()).hexdigest()[:8], 16) % passes == number


def _differing(
    listed: Listed, rows: Iterator[Data], said: dict[str, Data], mine: Callable[[str], bool]
) -> set[str]:
    """Keys of rows that are not as said, and of those that are gone. Nothing of `said` is left afterwards."""
    wrong = set()
    for row in rows:
        key = str(row[listed.key])
        if mine(key):
            row = listed.read(row)  # noqa: PLW2901
            told = said.pop(key, None) or said.get(listed.early(row))
            if (
                told is None
                or any(row[name] != value for name, value in told.items())
                or not listed.fits(row)
            ):
                wrong.add(key)
    return wrong | {key for key in said if not key.startswith(UNSIGNED)}


def _in_pieces(store: Store, table: str) -> Iterator[Data]:
    """Rows of a table, each piece in a short transaction."""
    after: tuple[Any, ...] | None = ()
    while after is not None:
        with store.reading():
            rows, after = store.row_changes.rows(table, after)
        yield from rows


def _inside(store: Store, table: str) -> Iterator[Data]:
    """The same inside the caller's transaction."""
    after: tuple[Any, ...] | None = ()
    while after is not None:
        rows, after = store.row_changes.rows(table, after)
        yield from rows


def _sessions(read: Read, mine: Callable[[str], bool]) -> dict[str, Data]:
    """Sessions as sign-ins begin them, and signing out, a new passphrase or a closed account ends them."""
    found: dict[str, dict[str, object]] = {}
    open_of: dict[str, set[str]] = {}
    for entry in read((SIGNED_IN, ENDED, *ENDS_OF_PERSON)):
        data, person = said_by(entry["text"]), entry["subject"]
        token = str(data.get("session"))
        if entry["type"] == SIGNED_IN:
            begun = {"person": person, "source": data.get("source"), "started_at_utc": entry["at_utc"]}
            if "session" not in data:
                found[_early_session(begun)] = begun
            elif mine(token):
                found[token] = {**begun, "ended_at_utc": None, "ended_because": None}
                open_of.setdefault(person, set()).add(token)
        elif entry["type"] == ENDED:
            ending = {token} & open_of.get(person, set())
            _end(found, open_of, person, ending, (entry["at_utc"], data.get("because")))
        elif (because := _why_all_end(entry["type"], data)) is not None:
            ending = set(open_of.get(person, ()))
            _end(found, open_of, person, ending, (entry["at_utc"], because))
    return dict(found)


def _early_session(row: Data) -> str:
    return f"{UNSIGNED}{row['person']} {row['source']} {row['started_at_utc']}"


def _end(
    found: dict[str, dict[str, object]],
    open_of: dict[str, set[str]],
    person: str,
    ending: set[str],
    how: tuple[str, object],
) -> None:
    for token in ending:
        found[token] |= {"ended_at_utc": how[0], "ended_because": how[1]}
        open_of[person].discard(token)


def _why_all_end(kind: str, data: Data) -> str | None:
    """Why every session of a person ends with an entry, None where none does."""
    if kind == "person.disabled":
        return "person_disabled"
    if kind != "secret.changed" or data.get("secret") == "pin":
        return None
    return "first_secrets" if data.get("first") else "passphrase_changed"


def _set_aside(read: Read, mine: Callable[[str], bool]) -> dict[str, Data]:
    """What was set aside, as the entry of that moment says.
    Early entries name an unsigned text by its bare id.
    """
    found: dict[str, dict[str, object]] = {}
    for entry in read((SET_ASIDE, NOT_HELD)):
        data = said_by(entry["text"])
        if entry["type"] == NOT_HELD:
            columns = _aside(NOT_HELD, {}, entry) | {"jws": ""}
            found |= {one: columns for one in texts(data.get("events")) if mine(one)}
            continue
        id_ = str(data.get("event"))
        nobodys = entry["subject"] == NOBODY
        if nobodys and not id_.startswith(UNSIGNED):
            id_ = UNSIGNED + id_
        if mine(id_):
            told = {name: data[name] for name in ("source", "kept_sha256") if name in data}
            whose = {"device": None, **told} if nobodys else {"source": None}
            found[id_] = _aside(data.get("code"), data.get("fields"), entry) | whose
    return dict(found)


def _aside(code: object, fields: object, entry: ChangeRow) -> dict[str, object]:
    said = {"code": code, "fields": fields, "device": entry["subject"], "setup": entry["setup"]}
    return {**said, "received_at_utc": entry["at_utc"]}


def _read_aside(row: Data) -> Data:
    try:
        fields = json.loads(str(row["fields"]))
    except ValueError:
        fields = None
    return {
        **row,
        "fields": fields,
        "kept_sha256": sha256(str(row["jws"]).encode("utf-8", "replace")).hexdigest(),
    }


def _aside_fits(row: Data) -> bool:
    """Whether what was set aside is what its id names, and says the number that is searched for."""
    if str(row["id"]).startswith(UNSIGNED) or row["code"] == NOT_HELD:
        return row["sequence"] is None
    try:
        jws = str(row["jws"])
        payload = _payload(jws)
        return event_id(jws) == row["id"] and row["sequence"] in {None, payload.get("sequence")}
    except (JwsRefused, ValueError, LookupError, TypeError, AttributeError):
        return False


def _payload(jws: str) -> Data:
    found: Data = json.loads(from_base64url(jws.split(".")[1]))
    return found


def _sealed(read: Read, mine: Callable[[str], bool]) -> dict[str, Data]:
    found: dict[str, Data] = {}
    for entry in read((SEALED,)):
        if mine(entry["subject"]):
            data = said_by(entry["text"])
            columns = {"sha256": data.get("sha256"), "bytes": data.get("bytes")}
            found[entry["subject"]] = {**columns, "sealed_at_utc": entry["at_utc"]}
    return found


def _digest_of(token_hash: str) -> str:
    return sha256(token_hash.encode()).hexdigest()


LISTS = (
    Listed("session", "token_hash", _sessions, early=_early_session, shown=_digest_of),
    Listed("set_aside", "id", _set_aside, _read_aside, _aside_fits),
    Listed("record", "setup", _sealed),
)
