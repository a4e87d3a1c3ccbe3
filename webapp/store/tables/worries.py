"""The table of worries: found again from the events and the lead's decisions at any time."""

import peewee

from webapp.store.tables.base import Table


class Worry(Table):
    """Something that was off, and when and how a lead closed it.
    `kind` and `about` are names of the domain.
    """

    event = peewee.TextField(primary_key=True)
    setup = peewee.TextField()
    machine = peewee.TextField()
    fixture = peewee.TextField()
    probe = peewee.TextField()
    about = peewee.TextField()
    kind = peewee.TextField()
    blocks = peewee.BooleanField()
    text = peewee.TextField()
    person = peewee.TextField()
    at_utc = peewee.TextField()
    closed_at_utc = peewee.TextField(null=True)
    closed_by = peewee.TextField(null=True)
    closed_how = peewee.TextField(null=True)
    closed_reason = peewee.TextField(null=True)
