"""Tables of setups. Sheets and events are the truth;
`setup` and `question` are found again from them at any time.
"""

import peewee

from webapp.store.tables.base import Table


class Sheet(Table):
    """A setup sheet that was handed out, in the form of `sheet_parts`.
    `content` hashes it without its times; `text` is empty where it was let go.
    """

    hash = peewee.TextField(primary_key=True)
    machine = peewee.TextField()
    text = peewee.TextField()
    content = peewee.TextField()
    compiled_at_utc = peewee.TextField()
    expires_at_utc = peewee.TextField()


class SheetPart(Table):
    """A part of one or more sheets, by the hash of its text; `body` is how it is kept (see `sheet_parts`)."""

    hash = peewee.TextField(primary_key=True)
    body = peewee.BlobField()


class SheetAtFixture(Table):
    """When, and at which version of what it is compiled from, the sheet of a machine with one of its fixtures
    was last found to be the right one.
    """

    machine = peewee.TextField()
    fixture = peewee.TextField()
    hash = peewee.TextField()
    version = peewee.TextField()
    checked_at_utc = peewee.TextField()

    class Meta:  # noqa: D106
        primary_key = peewee.CompositeKey("machine", "fixture")


class SheetNamed(Table):
    """A sheet that an event names; triggers list them."""

    sheet = peewee.TextField(primary_key=True)


class SheetVersion(Table):
    """How often what sheets are compiled from has changed: of the shop, a machine, a fixture.
    Counted by triggers.
    """

    subject = peewee.TextField(primary_key=True)
    number = peewee.IntegerField()


class Event(Table):
    """An event as the signed text that came, with what lists need of it beside."""

    position = peewee.IntegerField(primary_key=True)
    id = peewee.TextField()
    jws = peewee.TextField()
    device = peewee.TextField()
    sequence = peewee.IntegerField()
    setup = peewee.TextField()
    type = peewee.TextField()
    person = peewee.TextField()
    sheet = peewee.TextField()
    at_utc = peewee.TextField()
    received_at_utc = peewee.TextField()
    problems = peewee.TextField()


class Waiting(Table):
    """An event whose predecessor has not come yet."""

    id = peewee.TextField(primary_key=True)
    jws = peewee.TextField()
    device = peewee.TextField()
    sequence = peewee.IntegerField()
    previous = peewee.TextField()
    received_at_utc = peewee.TextField()


class SetAside(Table):
    """Something that was sent and refused, with the reason. `device` is there only when its signature fits,
    `source`, the address that it came from, only when none does.
    """

    id = peewee.TextField(primary_key=True)
    jws = peewee.TextField()
    code = peewee.TextField()
    fields = peewee.TextField()
    device = peewee.TextField(null=True)
    sequence = peewee.IntegerField(null=True)
    setup = peewee.TextField(null=True)
    received_at_utc = peewee.TextField()
    source = peewee.TextField(null=True)


class PendingSeal(Table):
    """A sealed PIN that could not be checked yet; the row goes once it is."""

    event = peewee.TextField(primary_key=True)
    seal = peewee.TextField(null=True)


class Setup(Table):
    """Where a setup stands, for lists."""

    id = peewee.TextField(primary_key=True)
    device = peewee.TextField()
    sheet = peewee.TextField()
    machine = peewee.TextField()
    person = peewee.TextField()
    status = peewee.TextField()
    outcome = peewee.TextField(null=True)
    signature = peewee.TextField()
    probe_in_spindle = peewee.BooleanField()
    started_at_utc = peewee.TextField()
    last_at_utc = peewee.TextField()
    sealed = peewee.BooleanField(default=False)


class Question(Table):
    """A question put to the lead, and the answer."""

    id = peewee.TextField(primary_key=True)
    setup = peewee.TextField()
    event = peewee.TextField()
    axis = peewee.TextField(null=True)
    text = peewee.TextField()
    at_utc = peewee.TextField()
    answered_at_utc = peewee.TextField(null=True)
    answered_by = peewee.TextField(null=True)
    decision = peewee.TextField(null=True)
    reason = peewee.TextField(null=True)


class KeptValue(Table):
    """A value that became part of the usual when its setup was signed off, or by an import:
    one a setup and axis.

    `imported` is the number of that import, None for a setup that was walked through here.
    """

    setup = peewee.TextField()
    axis = peewee.TextField()
    fixture = peewee.TextField()
    seating = peewee.TextField()
    value_nm = peewee.IntegerField()
    at_utc = peewee.TextField()
    left_out_reason = peewee.TextField(null=True)
    imported = peewee.IntegerField(null=True)

    class Meta:  # noqa: D106
        primary_key = peewee.CompositeKey("setup", "axis")


class KeptChange(Table):
    """Changes of an axis' values, numbered from 1, each with the setup it was about; triggers list them."""

    fixture = peewee.TextField()
    axis = peewee.TextField()
    number = peewee.IntegerField()
    setup = peewee.TextField()

    class Meta:  # noqa: D106
        primary_key = peewee.CompositeKey("fixture", "axis", "number")
