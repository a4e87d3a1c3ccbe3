"""Tables of what the numbers stand on besides setups: imports, checks of probes, budgets."""

import peewee

from webapp.store.tables.base import Table


class HistoryImport(Table):
    """One file of past values that was taken in."""

    number = peewee.AutoField()
    sha256 = peewee.TextField()
    name = peewee.TextField()
    setups = peewee.IntegerField()
    values_kept = peewee.IntegerField()
    refused = peewee.IntegerField()
    by = peewee.TextField()
    at_utc = peewee.TextField()


class ImportedSetup(Table):
    """A past setup out of such a file. `named` is how the file named it, where it did."""

    id = peewee.TextField(primary_key=True)
    imported = peewee.IntegerField()
    line = peewee.IntegerField()
    machine = peewee.TextField()
    person = peewee.TextField()
    named = peewee.TextField()
    note = peewee.TextField()


class ProbeCare(Table):
    """How often a probe is checked, and what counts while it is overdue."""

    probe = peewee.TextField(primary_key=True)
    every_days = peewee.IntegerField()
    factor_hundredths = peewee.IntegerField()


class ProbeCheck(Table):
    """A check on a ring or sphere: what was typed and what it came to, as JSON. Rows are kept for ever."""

    number = peewee.AutoField()
    probe = peewee.TextField()
    machine = peewee.TextField()
    at_utc = peewee.TextField()
    by = peewee.TextField()
    note = peewee.TextField()
    typed = peewee.TextField()
    found = peewee.TextField()


class ZCheck(Table):
    """A check of what a machine's page reads on Z:
    what it depends on and what was typed, as JSON. Kept for ever.
    """

    number = peewee.AutoField()
    machine = peewee.TextField()
    point = peewee.TextField()
    length_nm = peewee.IntegerField(null=True)
    made_with = peewee.TextField()
    typed = peewee.TextField()
    by = peewee.TextField()
    at_utc = peewee.TextField()


class Budget(Table):
    """What the lead changed of an uncertainty budget, as JSON: its confidence and its lines."""

    machine = peewee.TextField()
    fixture = peewee.TextField()
    probe = peewee.TextField()
    value = peewee.TextField()

    class Meta:  # noqa: D106
        primary_key = peewee.CompositeKey("machine", "fixture", "probe")
