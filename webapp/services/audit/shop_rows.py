"""What the shop is made of, worked out again from the ledger and compared: machines and their measures,
slots, seatings, tablets, codes, lines that a lead chose, budgets, checks, tables that were taken in.

Rules: every change of such a row is an entry; what the entries come to is what the row has to say, and a row
that no entry speaks of is not the shop's. Early entries leave some of it out: what nothing is said of is not
compared, and listed as not covered until it is changed again. What somebody writes with a note that fits is
found here all the same, unless they write an entry as well, which then stands there for all to read.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from webapp.domain.evidence.told import AT_DESK, DRAFT, PROCEDURE, SHOPS, SHUT, code_digest, own_procedure_id
from webapp.domain.shop.seatings import Start, ends, lie_by_turn
from webapp.services.audit.unreadable import readable
from webapp.services.evidence.ledger import entries, on_ledger, said_by
from webapp.services.evidence.ledger_walk import Fault
from webapp.services.numbers.values_told import told_start

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow

ITEM_KINDS = ("shop", "fixture", "probe", "machine")
CHOSEN = ("ask_one_in", "stop_one_in", "ceiling_nm", "coverage_factor", "stop_length_nm")
EARLY = "from before the ledger said it: by the note of the row alone, until it is changed"

Key = tuple[Any, ...]
Data = Mapping[str, object]


@dataclass(slots=True)
class Said:
    """What entries come to: by key the columns that they speak of, and keys of which they do not say all."""

    rows: dict[Key, dict[str, object]] = field(default_factory=dict)
    early: set[Key] = field(default_factory=set)

    def put(self, *key: object, **columns: object) -> None:
        """A row, or these columns of one."""
        self.rows.setdefault(key, {}).update(columns)

    def gone(self, *key: object) -> None:
        """A row that was taken out."""
        self.rows.pop(key, None)
        self.early.discard(key)

    def leaves_out(self, key: Key, *, leaves: bool) -> None:
        """Whether the newest entry leaves something of a row out."""
        (self.early.add if leaves else self.early.discard)(key)


def _never(_: Data) -> Key:
    return ()


def _none(_: Data) -> bool:
    return False


def _is_all(_: Store, __: Said) -> None:
    pass


@dataclass(frozen=True, slots=True)
class Told:
    """A table, the types of the entries about it, what one of them does, a row as the entries have it (its
    key and its columns), under which key those speak of it that did not name it yet, of which rows none
    speaks, and what follows from all of them together.
    """

    table: str
    kinds: tuple[str, ...]
    take: Callable[[Said, ChangeRow, Data], None]
    read: Callable[[Data], tuple[Key, Data]]
    early: Callable[[Data], Key] = _never
    unsaid: Callable[[Data], bool] = _none
    settle: Callable[[Store, Said], None] = _is_all


def misfits(store: Store) -> Iterator[Fault]:
    """Rows that are not what the ledger says, each table in a short transaction of its own."""
    for told in TOLD:
        yield from readable(told.table, _misfits(store, told))


def not_covered(store: Store) -> dict[str, str]:
    """Rows of which the ledger does not say all. Inside a transaction."""
    return {f"{told.table} {_shown(key)}": EARLY for told in TOLD for key in sorted(_said(store, told).early)}


def _misfits(store: Store, told: Told) -> Iterator[Fault]:
    with store.reading():
        said = _said(store, told).rows
        there = (row for row in _rows(store, told.table) if not told.unsaid(row))
        rows = [(*told.read(row), told.early(row)) for row in there]
    wrong = {key for key, columns, early in rows if not _fits(said.get(key) or said.get(early), columns)}
    wrong |= said.keys() - {one for key, _, early in rows for one in (key, early)}
    yield from (Fault("audit.not_as_said", f"{told.table} {_shown(key)}") for key in sorted(wrong, key=repr))


def _fits(said: Data | None, columns: Data) -> bool:
    return said is not None and all(columns.get(name) == value for name, value in said.items())


def _shown(key: Key) -> str:
    return " ".join(map(str, key))


def _said(store: Store, told: Told) -> Said:
    found = Said()
    for entry, data in _entries(store, told.kinds):
        told.take(found, entry, data)
    told.settle(store, found)
    return found


def _entries(store: Store, kinds: tuple[str, ...]) -> Iterator[tuple[ChangeRow, Data]]:
    for entry in entries(store, kinds):
        yield entry, said_by(entry["text"])


def _rows(store: Store, table: str) -> Iterator[Data]:
    after: Key | None = ()
    while after is not None:
        rows, after = store.row_changes.rows(table, after)
        yield from rows


def _json(text: Any) -> object:
    """What a JSON column says, as the ledger spells it; None for one that says nothing."""
    try:
        return on_ledger(json.loads(text))
    except (ValueError, TypeError):
        return None


def _take_item(said: Said, entry: ChangeRow, data: Data) -> None:
    if entry["type"] == "procedure.published":
        whose = data.get("whose")
        used = PROCEDURE if whose in {None, SHOPS} else own_procedure_id(str(whose))
        value = (data.get("revision"), None if whose is None else AT_DESK)
        for id_ in (used, data.get("revision")):
            said.put("procedure", id_, value=value, active=True)
        return
    if entry["type"] == "procedure.retired":
        said.put("procedure", own_procedure_id(entry["subject"]), active=False)
        return
    if entry["type"] == "machine.closed":
        why = {"reason": data.get("reason"), "by": entry["by"], "at_utc": entry["at_utc"]}
        said.put("shop", SHUT + entry["subject"], value=why, active=True)
        return
    if entry["type"] == "machine.opened":
        said.put("shop", SHUT + entry["subject"], active=False)
        return
    kind, _, what = entry["type"].partition(".")
    if what == "retired":
        said.put(kind, entry["subject"], active=False)
    else:
        said.put(kind, entry["subject"], value=data.get("value"), active=True)


def _read_item(row: Data) -> tuple[Key, Data]:
    value: Any = _json(row["value"])
    if row["kind"] == "procedure" and isinstance(value, dict):
        text = str(value.get("text", "")).encode()
        whole = sha256(text).hexdigest() == value.get("hash") and value.keys() <= {"hash", "text", "from"}
        value = (value["hash"], value.get("from")) if whole else None
    return (row["kind"], row["id"]), {"value": value, "active": row["active"]}


def _is_draft(row: Data) -> bool:
    """A draft of a procedure is nobody's decision: no entry speaks of it."""
    return row["kind"] == "procedure" and str(row["id"]).startswith(DRAFT)


def _take_slot(said: Said, entry: ChangeRow, data: Data) -> None:
    key = entry["subject"], data.get("slot")
    owned = {"owner": data.get("person"), "until_utc": data.get("until_utc"), "held_back": False}
    nobodys = {"owner": None, "until_utc": None, "held_back": False}
    match entry["type"]:
        case "slot.changed":
            said.put(*key, kind=data.get("kind"), **owned)
        case "slot.given":
            said.put(*key, kind="person", **owned)
        case "slot.ended":
            said.put(*key, held_back=True)
        case "slot.released" | "slot.no_longer_kept":
            said.put(*key, kind="free", **nobodys)
        case "slot.kept_for_shop":
            said.put(*key, kind="shop", **nobodys)
        case _:
            said.gone(*key)


def _take_seating(said: Said, entry: ChangeRow, data: Data) -> None:
    key, since = (data.get("seating"),), data.get("since_utc")
    said.put(*key, fixture=entry["subject"], reason=data.get("reason"))
    if since is not None:
        said.put(*key, since_utc=since)
    said.leaves_out(key, leaves=since is None)


def _end_seatings(store: Store, said: Said) -> None:
    """When each seating ended. Early ones that did not come in the order of time ended each other by turn:
    of their fixture the ledger does not say when any ended.
    """
    fixtures: dict[str, list[Start]] = {}
    for (seating,), columns in said.rows.items():
        told = {name: columns[name] for name in ("since_utc",) if name in columns}
        start = told_start(store, str(columns["fixture"]), {"seating": seating, **told})
        fixtures.setdefault(str(columns["fixture"]), []).append(start)
    for starts in fixtures.values():
        in_order = lie_by_turn(starts)
        for id_, until in ends(starts).items():
            if in_order:
                said.put(id_, until_utc=until)
            else:
                said.leaves_out((id_,), leaves=True)


def _take_device(said: Said, entry: ChangeRow, data: Data) -> None:
    match entry["type"]:
        case "device.enrolled":
            columns = {name: data.get(name) for name in ("name", "jwk", "display", "pin_key", "receipt_key")}
            said.put(entry["subject"], **columns, enrolled_at_utc=entry["at_utc"], state="enrolled")
        case "device.disabled":
            said.put(entry["subject"], state="disabled")
        case "device.renamed":
            said.put(entry["subject"], name=data.get("name"))
        case "device.forked":
            said.put(entry["subject"], state="forked")
        case _:
            said.put(entry["subject"], state="enrolled")


def _take_code(said: Said, entry: ChangeRow, data: Data) -> None:
    code = data.get("code")
    if entry["type"] == "device.enrolled":
        if (code,) in said.rows:
            said.put(code, used_at_utc=entry["at_utc"])
        return
    made = {"made_by": entry["by"], "made_at_utc": entry["at_utc"], "until_utc": data.get("until_utc")}
    if code is not None:
        said.put(code, **made, used_at_utc=None)
    else:
        key = tuple(made.values())
        said.put(*key, **made)
        said.leaves_out(key, leaves=True)


def _take_choice(said: Said, entry: ChangeRow, data: Data) -> None:
    key, new = (entry["subject"], data.get("axis")), data.get("new")
    if not isinstance(new, dict) or new.get("shops"):
        said.gone(*key)
    else:
        said.put(*key, **{name: new[name] for name in CHOSEN if name in new})


def _take_care(said: Said, entry: ChangeRow, data: Data) -> None:
    columns = {name: data.get(name) for name in ("every_days", "factor_hundredths")}
    said.put(entry["subject"], **columns)


def _take_budget(said: Said, entry: ChangeRow, data: Data) -> None:
    key = entry["subject"], data.get("fixture"), data.get("probe")
    said.put(*key, **({"value": data["value"]} if "value" in data else {}))
    if "value" not in data:
        said.rows[key].pop("value", None)
    said.leaves_out(key, leaves="value" not in data)


def _take_check(said: Said, entry: ChangeRow, data: Data) -> None:
    """Checks are added one after the other: the first entry tells of the first row."""
    columns = {name: data.get(name) for name in ("machine", "note", "typed", "found")}
    said.put(len(said.rows) + 1, probe=entry["subject"], by=entry["by"], at_utc=entry["at_utc"], **columns)


def _take_z_check(said: Said, entry: ChangeRow, data: Data) -> None:
    key = (len(said.rows) + 1,)
    columns = {name: data[name] for name in ("point", "length_nm", "typed", "made_with") if name in data}
    said.put(*key, machine=entry["subject"], by=entry["by"], at_utc=entry["at_utc"], **columns)
    said.leaves_out(key, leaves="made_with" not in data)


def _take_import(said: Said, entry: ChangeRow, data: Data) -> None:
    columns = {name: data.get(name) for name in ("name", "setups", "values_kept", "refused")}
    key = (len(said.rows) + 1,)
    said.put(*key, sha256=entry["subject"], by=entry["by"], at_utc=entry["at_utc"], **columns)
    said.leaves_out(key, leaves="rows_sha256" not in data)


def _as_it_is(*key: str, texts: tuple[str, ...] = ()) -> Callable[[Data], tuple[Key, Data]]:
    """A row with its JSON columns as what they say."""

    def read(row: Data) -> tuple[Key, Data]:
        return tuple(row[name] for name in key), {**row, **{name: _json(row[name]) for name in texts}}

    return read


def _read_code(row: Data) -> tuple[Key, Data]:
    return (code_digest(str(row["hash"])),), row


def _early_code(row: Data) -> Key:
    return row["made_by"], row["made_at_utc"], row["until_utc"]


BUDGET_KINDS = (
    "line_set", "line_taken_back", "confidence_set", "correlation_set", "correlation_taken_back",
)  # fmt: skip
SLOTS = tuple(
    f"slot.{how}"
    for how in ("changed", "removed", "given", "ended", "released", "kept_for_shop", "no_longer_kept")
)
DEVICE_KINDS = ("enrolled", "disabled", "fork_cleared", "forked", "renamed")
TOLD = (
    Told(
        "item",
        (
            "procedure.published",
            "procedure.retired",
            "machine.closed",
            "machine.opened",
            *(f"{kind}.{how}" for kind in ITEM_KINDS for how in ("added", "changed", "retired")),
        ),
        _take_item,
        _read_item,
        unsaid=_is_draft,
    ),
    Told("slot", SLOTS, _take_slot, _as_it_is("machine", "label")),
    Told("seating", ("seating.started",), _take_seating, _as_it_is("id"), settle=_end_seatings),
    Told(
        "device",
        tuple(f"device.{how}" for how in DEVICE_KINDS),
        _take_device,
        _as_it_is("id", texts=("jwk",)),
    ),
    Told("code", ("code.made", "device.enrolled"), _take_code, _read_code, _early_code),
    Told("axis_choice", ("limit.changed",), _take_choice, _as_it_is("fixture", "axis")),
    Told("probe_care", ("probe.care_set",), _take_care, _as_it_is("probe")),
    Told("probe_check", ("probe.checked",), _take_check, _as_it_is("number", texts=("typed", "found"))),
    Told(
        "z_check",
        ("machine.z_checked",),
        _take_z_check,
        _as_it_is("number", texts=("typed", "made_with")),
    ),
    Told(
        "budget",
        tuple(f"budget.{how}" for how in BUDGET_KINDS),
        _take_budget,
        _as_it_is("machine", "fixture", "probe", texts=("value",)),
    ),
    Told("history_import", ("history.imported",), _take_import, _as_it_is("number")),
)
