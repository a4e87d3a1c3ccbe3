"""Rows are what their types say:
the same columns as the tables, and what a repository gives has exactly those.
"""

from __future__ import annotations

from typing import Any, get_type_hints

import peewee
import pytest

from webapp.store import rows
from webapp.store.tables import access, devices, ledger, numbers, people, records, setups, shop

# Tables whose rows leave the store whole, with the type that says so.
WHOLE: dict[type[peewee.Model], Any] = {
    people.Authorisation: rows.AuthorisationRow,
    access.Session: rows.SessionRow,
    access.Throttle: rows.ThrottleRow,
    devices.Device: rows.DeviceRow,
    devices.Code: rows.CodeRow,
    ledger.Leaf: rows.LeafRow,
    ledger.Change: rows.ChangeRow,
    setups.Sheet: rows.SheetRow,
    setups.Event: rows.EventRow,
    setups.Waiting: rows.WaitingRow,
    setups.SetAside: rows.SetAsideRow,
    setups.PendingSeal: rows.PendingSealRow,
    setups.Setup: rows.SetupRow,
    setups.Question: rows.QuestionRow,
    setups.KeptValue: rows.KeptValueRow,
    shop.Slot: rows.SlotRow,
    shop.Seating: rows.SeatingRow,
    shop.AxisChoice: rows.AxisChoiceRow,
    numbers.HistoryImport: rows.ImportRow,
    numbers.ImportedSetup: rows.ImportedSetupRow,
    numbers.ProbeCare: rows.ProbeCareRow,
    numbers.ProbeCheck: rows.ProbeCheckRow,
    numbers.ZCheck: rows.ZCheckRow,
    records.Record: rows.RecordRow,
}


@pytest.mark.parametrize(("table", "row"), WHOLE.items(), ids=lambda one: one.__name__)
def test_a_row_has_the_columns_of_its_table(table: type[peewee.Model], row: Any) -> None:
    fields = table._meta.fields
    hints = get_type_hints(row)
    assert hints.keys() == fields.keys()
    empty = {name for name, field in fields.items() if field.null}
    assert {name for name, hint in hints.items() if type(None) in getattr(hint, "__args__", ())} == empty


def test_a_persons_row_is_the_account_with_name_and_salt_from_the_table_beside_it() -> None:
    account, beside = people.Person._meta.fields, people.PersonName._meta.fields
    hints = get_type_hints(rows.PersonRow)
    assert hints.keys() == account.keys() | (beside.keys() - {"person"})
    empty = {name for name, field in account.items() if field.null}
    assert {name for name, hint in hints.items() if type(None) in getattr(hint, "__args__", ())} == (
        empty | {"salt"}
    )
