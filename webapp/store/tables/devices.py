"""Tables of tablets and of the codes that enrol them."""

import peewee

from webapp.store.tables.base import Table


class Device(Table):
    """An enrolled tablet: its public key, and the two server keys that it was given to pin."""

    id = peewee.TextField(primary_key=True)
    name = peewee.TextField()
    jwk = peewee.TextField()
    state = peewee.TextField()
    display = peewee.TextField()
    pin_key = peewee.TextField()
    receipt_key = peewee.TextField()
    enrolled_at_utc = peewee.TextField()
    last_seen_at_utc = peewee.TextField(null=True)
    health = peewee.TextField(null=True)


class Code(Table):
    """A code for one enrolment; only its hash is here."""

    hash = peewee.TextField(primary_key=True)
    made_by = peewee.TextField()
    made_at_utc = peewee.TextField()
    until_utc = peewee.TextField()
    used_at_utc = peewee.TextField(null=True)
