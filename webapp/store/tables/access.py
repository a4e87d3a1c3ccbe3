"""Tables of sessions and of failed attempts."""

import peewee

from webapp.store.tables.base import Table


class Session(Table):
    """A session; only the hash of its token is here."""

    token_hash = peewee.TextField(primary_key=True)
    person = peewee.TextField()
    source = peewee.TextField()
    started_at_utc = peewee.TextField()
    seen_at_utc = peewee.TextField()
    ended_at_utc = peewee.TextField(null=True)
    ended_because = peewee.TextField(null=True)


class Throttle(Table):
    """Failures in a row of one subject, such as one person's PIN on one tablet."""

    subject = peewee.TextField(primary_key=True)
    failures = peewee.IntegerField()
    last_failure_at_utc = peewee.TextField()
