"""Imports of past values, checks of probes, budgets of uncertainty."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Sequence
from typing import TYPE_CHECKING, Any, cast

from webapp.store.repositories.base import Repository
from webapp.store.rows import (
    ImportedSetupRow,
    ImportRow,
    KeptWithOrigin,
    NewProbeCheck,
    NewZCheck,
    ProbeCareRow,
    ProbeCheckRow,
    ZCheckRow,
)
from webapp.store.tables.numbers import Budget, HistoryImport, ImportedSetup, ProbeCare, ProbeCheck, ZCheck

if TYPE_CHECKING:
    from webapp.domain.budget.lines import BudgetData

INSERT_SETUP = (
    "INSERT INTO imported_setup (id, imported, line, machine, person, named, note) "
    "VALUES (?, ?, ?, ?, ?, ?, ?)"
)
INSERT_VALUE = (
    "INSERT INTO kept_value (setup, axis, fixture, seating, value_nm, at_utc, left_out_reason, imported) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
)
KEPT_COLUMNS = (
    "setup", "axis", "fixture", "seating", "value_nm", "at_utc", "left_out_reason", "imported", "machine",
    "person", "named", "note",
)  # fmt: skip
# Each value with where it comes from: a setup of our own, or a line that was imported.
KEPT = (
    "SELECT k.setup, k.axis, k.fixture, k.seating, k.value_nm, k.at_utc, k.left_out_reason, k.imported, "
    "coalesce(i.machine, s.machine), coalesce(i.person, s.person), coalesce(i.named, ''), coalesce(i.note, "
    "'') "
    "FROM kept_value AS k LEFT JOIN imported_setup AS i ON i.id = k.setup LEFT JOIN setup AS s ON s.id = "
    "k.setup "
)
KEPT_OF = f"{KEPT} WHERE k.setup = ? ORDER BY k.axis"
KEPT_AFTER = (
    f"{KEPT} WHERE (CAST(? AS TEXT) IS NULL OR k.fixture = ?) AND k.setup > ? "
    "ORDER BY k.setup, k.axis LIMIT ?"
)
# Every row of a table, the reason that a value is left out for last: it is what changes.
IMPORTED_ROWS = (
    "SELECT i.id, coalesce(k.axis, ''), k.fixture, k.seating, k.value_nm, k.at_utc, k.imported, i.line, "
    "i.machine, i.person, i.named, i.note, k.left_out_reason FROM imported_setup AS i "
    "LEFT JOIN kept_value AS k ON k.setup = i.id WHERE i.imported = ? AND (i.id > ?) "
    "ORDER BY i.id, k.axis LIMIT ?"
)
# A stretch of all values by their key, and whether the setup that brought them is there.
VALUES_OF_SETUPS = (
    "SELECT setup, axis, EXISTS (SELECT 1 FROM event WHERE event.setup = kept_value.setup) OR EXISTS "
    "(SELECT 1 FROM imported_setup WHERE imported_setup.id = kept_value.setup) FROM kept_value "
    "WHERE (setup, axis) > (?, ?) ORDER BY setup, axis LIMIT ?"
)
IMPORTED_AMONG = "SELECT id FROM imported_setup WHERE id IN ({these})"
AT_A_TIME = 3_000


class NumbersRepository(Repository):
    """Rows of checks and imports are added and never changed."""

    # Past values

    def next_import(self) -> int:
        """The number that the next import gets."""
        return int(self._database.raw("SELECT coalesce(max(number), 0) + 1 FROM history_import")[0][0])

    def add_import(self, row: ImportRow) -> None:
        """List a file that is taken in, under its number."""
        self._run(HistoryImport.insert(row))

    def add_past(self, setups: Sequence[tuple[Any, ...]], values: Sequence[tuple[Any, ...]]) -> None:
        """Keep imported setups and their values,
        each a tuple in the order of its statement. Raises Conflict.
        """
        self._database.run_many(INSERT_SETUP, list(setups))
        self._database.run_many(INSERT_VALUE, list(values))

    def imports(self) -> list[ImportRow]:
        """Files that were taken in, newest first."""
        return self._rows(HistoryImport.select().order_by(HistoryImport.number.desc()))

    def imported_rows(self, number: int) -> Iterator[tuple[Any, ...]]:
        """Every row of an import by setup and axis, read in stretches that end between two setups: setup,
        axis, fixture, seating, value, time, import, line, machine, person, name, note, why it is left out.
        """
        after: str | None = ""
        while after is not None:
            rows = self._database.raw(IMPORTED_ROWS, (number, after, AT_A_TIME))
            full = len(rows) == AT_A_TIME
            whole = [row for row in rows if row[0] != rows[-1][0]] if full else rows
            yield from whole
            after = whole[-1][0] if full else None

    def of_no_setup(
        self, after: tuple[str, str], most: int
    ) -> tuple[list[tuple[str, str]], tuple[str, str] | None]:
        """Setup and axis of values that belong to no setup that was walked here or taken in, from so many
        values behind one; the last of these (None: nothing is behind them).
        """
        rows = self._database.raw(VALUES_OF_SETUPS, (*after, most))
        last = (rows[-1][0], rows[-1][1]) if len(rows) == most else None
        return [(setup, axis) for setup, axis, is_there in rows if not is_there], last

    def imported(self, setup: str) -> ImportedSetupRow | None:
        """A past setup by its id, or None for one that was not imported."""
        return self._row(ImportedSetup.select().where(ImportedSetup.id == setup))

    def imported_among(self, ids: Collection[str]) -> set[str]:
        """Those of these ids that an import took."""
        rows = self._among(IMPORTED_AMONG, (json.dumps(list(ids)),)) if ids else []
        return {id_ for (id_,) in rows}

    def kept_of(self, setup: str) -> list[KeptWithOrigin]:
        """Kept values of one setup with where they come from, by axis."""
        return [_kept(row) for row in self._database.raw(KEPT_OF, (setup,))]

    def kept_setups(self, ids: Collection[str]) -> set[tuple[str, str]]:
        """Setup and axis of the values that these setups have already."""
        statement = "SELECT setup, axis FROM kept_value WHERE setup IN ({these})"
        return {(row[0], row[1]) for row in self._among(statement, (json.dumps(list(ids)),))}

    def kept_after(self, fixture: str | None, after: str) -> list[KeptWithOrigin]:
        """Kept values of the setups after one, by setup and axis:
        a stretch of them that ends between two setups.
        """
        rows = self._database.raw(KEPT_AFTER, (fixture, fixture, after, AT_A_TIME))
        whole = rows if len(rows) < AT_A_TIME else [row for row in rows if row[0] != rows[-1][0]]
        return list(map(_kept, whole))

    # Probes

    def care(self, probe: str) -> ProbeCareRow | None:
        """How often a probe is checked and what counts while it is overdue, or None."""
        return self._row(ProbeCare.select().where(ProbeCare.probe == probe))

    def put_care(self, probe: str, every_days: int, factor_hundredths: int) -> None:
        """Set how often a probe is checked and what counts while it is overdue."""
        fields = {"probe": probe, "every_days": every_days, "factor_hundredths": factor_hundredths}
        self._run(
            ProbeCare.insert(fields).on_conflict(
                conflict_target=[ProbeCare.probe],
                preserve=[ProbeCare.every_days, ProbeCare.factor_hundredths],
            )
        )

    def add_check(self, row: NewProbeCheck) -> None:
        """Keep a check. `typed` and `found` are plain values."""
        texts = {name: json.dumps(row[name], sort_keys=True) for name in ("typed", "found")}
        self._run(ProbeCheck.insert({**row, **texts}))

    def checks(self, probe: str) -> list[ProbeCheckRow]:
        """Checks of a probe, newest first."""
        query = ProbeCheck.select().where(ProbeCheck.probe == probe)
        rows = self._rows(query.order_by(ProbeCheck.at_utc.desc(), ProbeCheck.number.desc()))
        for row in rows:
            row.update(typed=json.loads(row["typed"]), found=json.loads(row["found"]))
        return rows

    def last_check_at(self, probe: str) -> str | None:
        """When a probe was last checked, or None."""
        rows = self._database.raw("SELECT max(at_utc) FROM probe_check WHERE probe = ?", (probe,))
        return str(rows[0][0]) if rows[0][0] else None

    # What machine pages read on Z

    def add_z_check(self, row: NewZCheck) -> None:
        """Keep a check of what a machine's page reads on Z. `made_with` and `typed` are plain values."""
        texts = {
            "made_with": json.dumps(row["made_with"], sort_keys=True),
            "typed": json.dumps(row["typed"], sort_keys=True),
        }
        self._run(ZCheck.insert({**row, **texts}))

    def last_z_check(self, machine: str) -> ZCheckRow | None:
        """The last check of a machine, or None."""
        query = ZCheck.select().where(ZCheck.machine == machine).order_by(ZCheck.number.desc()).limit(1)
        row = self._row(query)
        if row:
            row.update(made_with=json.loads(row["made_with"]), typed=json.loads(row["typed"]))
        return row

    # Budgets

    def budget(self, machine: str, fixture: str, probe: str) -> BudgetData | None:
        """What the lead changed of a budget, or None."""
        here = (Budget.machine == machine) & (Budget.fixture == fixture) & (Budget.probe == probe)
        row = self._row(Budget.select().where(here))
        return json.loads(row["value"]) if row else None

    def put_budget(self, machine: str, fixture: str, probe: str, value: BudgetData) -> None:
        """Set what the lead changed of a budget."""
        text = json.dumps(value, sort_keys=True, ensure_ascii=False)
        fields = {"machine": machine, "fixture": fixture, "probe": probe, "value": text}
        key = [Budget.machine, Budget.fixture, Budget.probe]
        self._run(Budget.insert(fields).on_conflict(conflict_target=key, preserve=[Budget.value]))


def _kept(row: tuple[Any, ...]) -> KeptWithOrigin:
    return cast("KeptWithOrigin", dict(zip(KEPT_COLUMNS, row, strict=True)))
