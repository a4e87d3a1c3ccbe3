"""Tables of the ledger: leaves, nodes above them, and the changes made on the server."""

import peewee

from webapp.store.tables.base import Table


class Leaf(Table):
    """One entry of the ledger: an event or a change, by its RFC 6962 leaf hash."""

    position = peewee.IntegerField(primary_key=True)
    kind = peewee.TextField()
    hash = peewee.BlobField()


class Node(Table):
    """The hash of a full subtree of 2**level leaves, level 1 and up."""

    level = peewee.IntegerField()
    number = peewee.IntegerField()
    hash = peewee.BlobField()

    class Meta:  # noqa: D106
        primary_key = peewee.CompositeKey("level", "number")


class Change(Table):
    """A change on the server, as the canonical JSON that its leaf hashes."""

    position = peewee.IntegerField(primary_key=True)
    text = peewee.TextField()
    type = peewee.TextField()
    by = peewee.TextField()
    subject = peewee.TextField()
    setup = peewee.TextField(null=True)
    at_utc = peewee.TextField()
